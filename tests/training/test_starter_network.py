"""Making the shipped network again: what it learns from, how far it goes, and the command that does all of it."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import torch
from PIL import Image

from model.flora.load import CONFIGS, read_as
from model.photo.extract import Network
from training.finetune import starter_network
from training.finetune.imagenet import load_imagenet
from training.finetune.starter_network import Pictures, adapt, main, recognition_loss
from training.finetune.tuning_settings import StarterTraining
from training.recipes.recipe import load_recipe


@pytest.fixture(scope="module")
def settings() -> StarterTraining:
    """The shipped settings in small numbers."""
    shipped = read_as(CONFIGS / "recipes" / "starter.yaml", StarterTraining).model_dump()
    small = {"side": 64, "steps": 2, "batch": 4, "kept_blocks": 14, "average_steps": 2, "drawn_side": 64, "drawings": 1}
    return StarterTraining.model_validate(shipped | small)


def test_a_photo_is_recognised_by_its_other_view() -> None:
    z = torch.eye(8)
    assert recognition_loss(z, z, 0.1) < 0.01 < recognition_loss(z, z.roll(1, 0), 0.1)


def test_drawings_have_their_share_and_rare_classes_are_drawn_more_often(settings: StarterTraining) -> None:
    labels, drawn = ["a"] * 4 + ["b"] + ["drawn:a"], np.array([False] * 5 + [True])
    chances = Pictures([], labels, drawn).chances(settings)
    assert chances.sum() == pytest.approx(1) and chances[-1] == pytest.approx(settings.drawn_share)
    assert chances[4] == pytest.approx(2 * chances[0])  # evened by half: the root of four times


def test_it_goes_part_of_the_way_in_what_may_be_learned(settings: StarterTraining, tmp_path: Path) -> None:
    torch.set_num_threads(1)
    random = np.random.default_rng(1)
    pixels = [random.integers(0, 256, (70, 90, 3), dtype=np.uint8) for _ in range(6)]
    pictures = Pictures(pixels, ["a", "a", "b", "b", "c", "c"], np.arange(6) > 3)
    before = load_imagenet().state_dict()

    def gone(blend: float) -> dict[str, torch.Tensor]:
        changed = settings.model_copy(update={"blend": blend})
        net = adapt(pictures, changed, load_imagenet(), tmp_path / str(blend), torch.device("cpu"))
        return {name: t - before[name] for name, t in net.state_dict().items()}

    whole, half = gone(1.0), gone(0.5)
    moved = {name for name, way in whole.items() if way.any()}
    assert {"blocks.14.steps.0.weight", "head.0.weight"} <= moved
    assert not any(name.startswith(("stem.", "blocks.13.")) or "running" in name for name in moved)
    assert torch.allclose(half["head.0.weight"], whole["head.0.weight"] / 2, atol=1e-6)


def test_one_command_makes_the_file_from_a_folder_of_photos(
    settings: StarterTraining, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = ["photo,species,group,source,creator,licence"]
    for number in range(12):
        name = f"{('poa_annua', 'stellaria_media')[number % 2]}/{number}.jpg"
        (tmp_path / name).parent.mkdir(exist_ok=True)
        Image.fromarray(np.random.default_rng(number).integers(0, 255, (70, 90, 3), np.uint8)).save(tmp_path / name)
        rows.append(f"{name},{name.split('/')[0]},,s,c,CC0")
    (tmp_path / "manifest.csv").write_text("\n".join(rows))
    plan = starter_network.plan_album
    monkeypatch.setattr(starter_network, "plan_album", lambda species, each: plan(["poa_annua"], each))
    monkeypatch.setattr(starter_network, "read_as", lambda path, kind: settings)
    quick = load_recipe("quick").model_copy(update={"shares": {"fit": 0.97} | dict.fromkeys("abc", 0.01)})
    monkeypatch.setattr(starter_network, "load_recipe", lambda name: quick)
    learned: list[set[str]] = []
    whole = starter_network.adapt

    def noted(pictures: Pictures, *more: Any) -> object:
        learned.append(set(pictures.labels))
        return whole(pictures, *more)

    monkeypatch.setattr(starter_network, "adapt", noted)
    assert main([str(tmp_path), str(tmp_path / "out"), "--without", "stellaria_media"]) == 0
    assert learned == [{"poa_annua", "drawn:poa_annua", "drawn:plain_lawn"}]
    data = (tmp_path / "out" / "backbone.onnx").read_bytes()
    assert f"sha256 {hashlib.sha256(data).hexdigest()}" in capsys.readouterr().out
    Network(data, threads=1)
    assert main([str(tmp_path / "nothing"), str(tmp_path / "out")]) == 2
    assert "no such file; name a folder of photos" in capsys.readouterr().err
