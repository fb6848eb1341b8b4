"""Fine-tuning: it learns what it may, goes on where it was stopped, and sees what the recipe asks for."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import torch
from torch import Tensor

from model.photo.head import Discriminant, fit_statistics
from model.photo.views import whole_views
from training.finetune.augment import Mixing, Views, transform_of
from training.finetune.network import TuningNet, load_shipped
from training.finetune.tuning_settings import FullTraining
from training.finetune.user_network import tune
from training.recipes.recipe import load_recipe


def short_training(**changes: object) -> FullTraining:
    short = {"epochs": 3, "side": 64, "batch": 8, "kept_blocks": 14, "look_every": 1}
    return FullTraining.model_validate(load_recipe("full").tune.model_dump() | short | changes)


def made_photos(photos: int = 12) -> tuple[list[np.ndarray], np.ndarray]:
    """Two kinds of photos: bright ones and dark ones."""
    random, truth = np.random.default_rng(5), np.arange(photos) % 2
    return [random.integers(0, 120, (100, 130, 3), dtype=np.uint8) + np.uint8(120) * np.uint8(t) for t in truth], truth


def learn(
    settings: FullTraining,
    folder: Path | None = None,
    watch: Callable[[TuningNet], float] | None = None,
    progress: Callable[[int], None] = lambda steps: None,
    seed: int = 7,
) -> TuningNet:
    """The network after a short training on made photos."""
    torch.set_num_threads(1)
    torch.manual_seed(0)
    net = TuningNet(load_shipped(), 2, settings.kept_blocks)
    photos, truth = made_photos()
    tune(net, photos, truth, settings, seed, folder, watch, lambda done, of: progress(done))
    return net


def weights_of(net: TuningNet) -> Tensor:
    return torch.cat([parameter.detach().reshape(-1) for parameter in net.parameters()])


def test_a_training_that_was_stopped_goes_on_to_the_same_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    settings = short_training(epochs=2)
    whole = weights_of(learn(settings))
    monkeypatch.setattr("training.finetune.loop.SAVE_EVERY", 0.0)

    def stop(steps: int) -> None:
        if steps == 3:  # the first step of the second epoch
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        learn(settings, tmp_path, progress=stop)
    steps: list[int] = []
    assert torch.allclose(weights_of(learn(settings, tmp_path, progress=steps.append)), whole, atol=1e-6)
    assert torch.allclose(weights_of(learn(settings, tmp_path, progress=steps.append)), whole, atol=1e-6)
    assert steps == [3, 4]  # the first epoch was not done again, and once it had ended nothing was


def test_progress_that_cannot_be_read_is_none(tmp_path: Path) -> None:
    settings = short_training(epochs=1)
    (tmp_path / "tuning.safetensors").write_bytes(b"nothing")
    assert torch.allclose(weights_of(learn(settings, tmp_path)), weights_of(learn(settings)), atol=1e-6)


def test_it_learns_and_keeps_what_it_may_not_learn() -> None:
    augment = load_recipe("full").tune.augment.model_copy(update={"mixed": 0.0})
    net = learn(short_training(rate=0.001, epochs=8, augment=augment.model_dump()))
    photos, truth = made_photos()
    x = torch.from_numpy(np.concatenate([whole_views(photo, 64)[:1] for photo in photos]))
    assert (net(x).argmax(dim=1).numpy() == truth).all()
    state, shipped = net.backbone.state_dict(), load_shipped().state_dict()
    moved = {name for name in state if not torch.equal(state[name], shipped[name])}
    assert {"blocks.14.steps.0.weight", "head.0.weight", "head.1.0.bias"} <= moved
    assert not any(name.startswith(("stem.", *(f"blocks.{k}." for k in range(14)))) for name in moved)
    assert not any("running" in name for name in moved)


def test_it_stops_early_and_gives_the_best_that_was_watched() -> None:
    losses = iter([3.0, 1.0, 2.0, 2.0, 2.0, 2.0])
    seen: list[Tensor] = []

    def watch(net: TuningNet) -> float:
        seen.append(weights_of(net))
        return next(losses)

    found = learn(short_training(epochs=6, patience=2), watch=watch)
    assert len(seen) == 4 and torch.equal(weights_of(found), seen[1])


def test_the_head_starts_as_the_closed_form_one() -> None:
    random = np.random.default_rng(3)
    x = random.uniform(0.01, 1.0, (30, 1280))
    statistics = fit_statistics(x, [str(i % 3) for i in range(30)])
    net = TuningNet(load_shipped(), 3, 5)
    net.start_head(statistics, 0.4, 10.0)
    logits = net.linear(torch.from_numpy(x).float()).detach().numpy()
    scores = Discriminant(statistics, 0.4).scores(x) / 10.0
    assert np.allclose(logits - logits[:, :1], scores - scores[:, :1], atol=1e-2)


def test_a_view_that_nothing_is_done_to_is_the_photo_as_it_is_served() -> None:
    pixels = np.random.default_rng(0).integers(0, 256, (64, 64, 3), dtype=np.uint8)
    settings = short_training()
    none = dict.fromkeys(("brightness", "contrast", "saturation", "softened"), 0.0)
    plain = transform_of(settings.augment.model_copy(update=none | {"least_share": 1.0, "most_stretch": 1.0}), 64)
    x = plain(torch.from_numpy(pixels).permute(2, 0, 1)).numpy()
    wanted = pixels.transpose(2, 0, 1) / 127.5 - 1
    assert np.allclose(x, wanted, atol=1e-5) or np.allclose(x, wanted[..., ::-1], atol=1e-5)
    (one, label), (other, _) = (Views([pixels], [3], settings)[0] for _ in range(2))
    assert one.shape == (3, 64, 64) and int(label) == 3 and not torch.equal(one, other)
    assert float(one.min()) >= -1 and float(one.max()) <= 1


def test_mixed_views_have_mixed_labels() -> None:
    rows = [(torch.full((3, 16, 16), float(i)), torch.tensor(i)) for i in range(4)]
    x, labels = Mixing(0.0, 4)(rows)
    assert labels.tolist() == [0, 1, 2, 3] and [float(view[0, 0, 0]) for view in x] == labels.tolist()
    for _ in range(10):
        x, labels = Mixing(1.0, 4)(rows)
        assert torch.allclose(labels.sum(dim=1), torch.ones(4))
        # What a view shows is what its label says, however it was mixed.
        assert torch.allclose(x.mean(dim=(1, 2, 3)), labels @ torch.arange(4.0), atol=1e-4)
