"""Fine-tuning: the same for the same seed, stopped or not, by one process or two."""

from __future__ import annotations

import multiprocessing
from pathlib import Path

import numpy as np
import pytest
import torch
from torch import Tensor, distributed
from torch.nn.utils import parameters_to_vector

from model.photo import Discriminant, fit_statistics
from model.photo.backbone import load_backbone
from training.finetune.augment import cut_views, draw_view, mix, relight
from training.finetune.checkpoint import read_progress
from training.finetune.loop import Lesson, tune
from training.finetune.network import TuningNet
from training.finetune.processes import World
from training.finetune.schedule import TunePlan
from training.finetune.tune_settings import Tune
from training.recipes.recipe import load_full_recipe

SHORT = {"epochs": 3, "sides": [96], "batch": 8, "share_of_batch": 4, "kept_blocks": 13, "look_every": 1}


def short_recipe(**changes: object) -> Tune:
    return Tune.model_validate(load_full_recipe().tune.model_dump() | SHORT | changes)


def made_lesson(photos: int = 12) -> Lesson:
    """Two kinds of photos: bright ones and dark ones."""
    random, truth = np.random.default_rng(5), np.arange(photos) % 2
    made = [random.integers(0, 120, (100, 130, 3), dtype=np.uint8) + np.uint8(120) * np.uint8(t) for t in truth]
    return Lesson(made, truth, 2)


def tuned(plan: TunePlan, world: World | None = None, folder: Path | None = None, **options: object) -> Tensor:
    torch.set_num_threads(1)
    torch.manual_seed(0)
    net = TuningNet(load_backbone(), 2, plan.recipe.kept_blocks)
    tune(net, made_lesson(plan.photos), plan, world, folder, **options)  # type: ignore[arg-type]
    return parameters_to_vector(net.learned()).detach().clone()


def test_the_same_seed_gives_identical_weights_three_times_of_three() -> None:
    plan = TunePlan(12, 2, short_recipe(), 7)
    first, second, third = (tuned(plan) for _ in range(3))
    assert torch.equal(first, second)
    assert torch.equal(first, third)
    assert not torch.equal(first, tuned(TunePlan(12, 2, short_recipe(), 8)))


def test_a_training_that_was_stopped_goes_on_to_the_same_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plan = TunePlan(12, 3, short_recipe(), 7)
    whole = tuned(plan)
    monkeypatch.setattr("training.finetune.loop.SAVE_EVERY", 0.0)

    def stop(steps: int) -> None:
        if steps == plan.batches + 1:  # in the second epoch
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        tuned(plan, folder=tmp_path, progress=stop)
    steps: list[int] = []
    assert torch.equal(tuned(plan, folder=tmp_path, progress=steps.append), whole)
    assert steps[0] == plan.batches + 1  # the first epoch was not done again
    again: list[int] = []
    assert torch.equal(tuned(plan, folder=tmp_path, progress=again.append), whole)
    assert not again


def one_of_two(rank: int, port: int, queue: object) -> None:
    address = f"tcp://127.0.0.1:{port}"
    distributed.init_process_group("gloo", init_method=address, rank=rank, world_size=2)
    found = tuned(TunePlan(12, 2, short_recipe(), 7), World(rank, 2))
    queue.put((rank, found.numpy()))  # type: ignore[attr-defined]
    distributed.destroy_process_group()


def test_two_processes_come_to_the_weights_of_one(free_port: int) -> None:
    context = multiprocessing.get_context("spawn")
    queue = context.Queue()
    both = [context.Process(target=one_of_two, args=(rank, free_port, queue)) for rank in range(2)]
    for process in both:
        process.start()
    found = dict(queue.get(timeout=120) for _ in both)
    for process in both:
        process.join(60)
    alone = tuned(TunePlan(12, 2, short_recipe(), 7)).numpy()
    assert np.array_equal(found[0], found[1])
    assert np.array_equal(found[0], alone)


def test_it_learns_and_keeps_what_it_is_told_to_keep() -> None:
    net = TuningNet(load_backbone(), 2, 13)
    shipped = load_backbone().state_dict()
    lesson = made_lesson()
    tune(net, lesson, TunePlan(12, 6, short_recipe(mixed=0.0, rate=0.003), 1))
    x = cut_views(lesson.photos, [draw_view(130, 100, RECIPE.parts, RECIPE.light, (0, i)) for i in range(12)], 96, CPU)
    assert (net(x).argmax(dim=1).numpy() == lesson.truth).all()
    state = net.backbone.state_dict()
    assert torch.equal(state["blocks.12.steps.0.weight"], shipped["blocks.12.steps.0.weight"])
    assert not torch.equal(state["blocks.13.steps.0.weight"], shipped["blocks.13.steps.0.weight"])
    assert torch.equal(state["blocks.13.steps.1.0.running_mean"], shipped["blocks.13.steps.1.0.running_mean"])


def test_it_stops_early_and_gives_the_best_that_was_watched() -> None:
    losses = iter([3.0, 1.0, 2.0, 2.0, 2.0, 2.0])
    seen: list[Tensor] = []

    def watch(net: TuningNet) -> float:
        seen.append(parameters_to_vector(net.learned()).detach().clone())
        return next(losses)

    found = tuned(TunePlan(12, 6, short_recipe(patience=2), 7), watch=watch)
    assert len(seen) == 4
    assert torch.equal(found, seen[1])


def test_the_head_starts_as_the_closed_form_one() -> None:
    random = np.random.default_rng(3)
    x = random.uniform(0.01, 1.0, (30, 1280))
    statistics = fit_statistics(x, [str(i % 3) for i in range(30)])
    net = TuningNet(load_backbone(), 3, 5)
    net.start_head(statistics, 0.4, 10.0)
    logits = net.linear(torch.from_numpy(x).float()).detach().numpy()
    scores = Discriminant(statistics, 0.4).scores(x) / 10.0
    assert np.allclose(logits - logits[:, :1], scores - scores[:, :1], atol=1e-2)


def test_classes_with_few_photos_weigh_as_much_as_others() -> None:
    lesson = Lesson([], np.array([0, 0, 0, 1]), 2)
    assert lesson.log_shares().exp().tolist() == pytest.approx([0.75, 0.25])


def test_progress_that_cannot_be_read_or_is_of_another_network_is_none(tmp_path: Path) -> None:
    assert read_progress(tmp_path, torch.zeros(3)) is None
    (tmp_path / "tuning.safetensors").write_bytes(b"nothing")
    assert read_progress(tmp_path, torch.zeros(3)) is None


CPU, RECIPE = torch.device("cpu"), load_full_recipe().tune


def test_a_view_depends_on_its_seed_only_and_shows_the_share_that_is_asked_for() -> None:
    views = [draw_view(640, 480, RECIPE.parts, RECIPE.light, (1, 2, i)) for i in range(300)]
    assert views[:9] == [draw_view(640, 480, RECIPE.parts, RECIPE.light, (1, 2, i)) for i in range(9)]
    shares = [v.box[2] * v.box[3] / (640 * 480) for v in views]
    assert min(shares) >= RECIPE.parts.least_share * 0.9  # a stretched part is cut off at the edge
    assert all(v.box[0] + v.box[2] <= 640 and v.box[1] + v.box[3] <= 480 for v in views)
    assert 0.4 < np.mean([v.mirrored for v in views]) < 0.6
    assert {v.quarters for v in views} == {0}


def test_an_unchanged_view_is_the_photo_as_it_is_served() -> None:
    pixels = np.random.default_rng(0).integers(0, 256, (96, 96, 3), dtype=np.uint8)
    plain = draw_view(96, 96, RECIPE.parts, RECIPE.light, (0,))
    plain = type(plain)((0, 0, 96, 96), False, 0, (1.0, 1.0, 1.0))
    x = cut_views([pixels], [plain], 96, CPU)
    assert np.allclose(x[0].numpy(), pixels.transpose(2, 0, 1) / 127.5 - 1, atol=1e-5)


def test_light_changes_one_thing_at_a_time() -> None:
    x = torch.rand(1, 3, 8, 8) * 0.5 + 0.25
    assert torch.allclose(relight(x, torch.tensor([[1.0, 1.0, 1.0]])), x)
    assert torch.allclose(relight(x, torch.tensor([[0.5, 1.0, 1.0]])), x * 0.5)
    grey = relight(x, torch.tensor([[1.0, 1.0, 0.0]]))
    assert torch.allclose(grey[:, 0], grey[:, 2], atol=1e-6)


def test_mixed_views_have_mixed_names() -> None:
    x, targets = torch.rand(4, 3, 16, 16), torch.eye(4)
    kinds = [mix(x, targets, 1.0, (i,)) for i in range(20)]
    assert all(torch.allclose(t.sum(dim=1), torch.ones(4)) for _, t in kinds)
    assert any(not torch.equal(t, targets) for _, t in kinds)
    assert mix(x, targets, 0.0, (1,))[0] is x
    for mixed, t in kinds:
        patched = (mixed == x).all(dim=1)  # a patch leaves the rest as it was, in the share that the names say
        if patched.any() and not patched.all():
            assert float(patched[0].float().mean()) == pytest.approx(float(t[0, 0]), abs=0.02)


def test_the_plan_says_what_will_be_done() -> None:
    plan = TunePlan(70, 4, short_recipe(sides=[96, 128], batch=32, share_of_batch=16), 1)
    assert str(plan) == "70 photos, 4 times each in views of 96 px, 128 px: 12 steps"
    assert [plan.side(e) for e in range(4)] == [96, 96, 128, 128]
    assert max(plan.rate(s) for s in range(plan.steps)) <= plan.recipe.rate
    assert plan.rate(plan.steps - 1) < 0.1 * plan.recipe.rate
    rows = np.concatenate(list(plan.order(0)))
    assert len(rows) == 96
    assert sorted(set(rows.tolist())) == list(range(70))


@pytest.fixture
def free_port() -> int:
    import socket

    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])
