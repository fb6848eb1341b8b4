"""The full recipe from photos to verdict, with a fine-tuning that is short and features that are made up."""

from __future__ import annotations

import json
from collections.abc import Sequence
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import torch
from PIL import Image

from model.errors import CollectionError
from model.photo.head import softmax
from model.photo.sandbox import open_photo
from model.photo.saved import STARTER, read_model
from model.photo.tuned import UNSEEN, TunedClassifier, read_classifier, read_tuned
from training.data.dataset import Data
from training.data.manifest import LabelledPhoto
from training.data.pixels import keep_pixels
from training.finetune.user_network import FineTuning, digest_of
from training.gate import incumbent
from training.gate.incumbent import NETWORK_LEARNED
from training.head.fit import learn
from training.recipes import decide, evaluation, full, prepare
from training.recipes.recipe import FullRecipe, load_recipe
from training.recipes.train import train as train_by
from training.registry.models import Registry

KINDS = ("romulea_rosea", "facelis_retusa", "other:path")
TINY = {"epochs": 1, "grow_epochs": 1, "side": 64, "kept_blocks": 15, "batch": 32}


def short_recipe() -> FullRecipe:
    recipe = load_recipe("full")
    tune = recipe.tune.model_validate(recipe.tune.model_dump() | TINY)
    shares = {"fit": 0.3, "calibrate": 0.15, "conformal": 0.1, "held_out": 0.45}
    return recipe.model_copy(update={"tune": tune, "shares": shares, "base_photos": 1000, "folds": 2})


@pytest.fixture
def made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[LabelledPhoto]:
    """Labelled photos of three kinds. The shipped features hardly tell two of them apart, the tuned ones do."""
    random = np.random.default_rng(3)
    starter, _ = read_model(STARTER)
    middle = starter.means.mean(axis=0)
    apart = {kind: middle + random.normal(0, 0.25, 1280) for kind in KINDS}
    alike = apart | {"facelis_retusa": apart["romulea_rosea"] + random.normal(0, 0.02, 1280)}
    photos, rows = [], {}
    for i in range(300):
        kind = KINDS[i % 3]
        file = tmp_path / f"{i}.jpg"
        Image.fromarray(random.integers(0, 255, (70, 90, 3), dtype=np.uint8)).save(file)
        photos.append(LabelledPhoto(file, file.name, kind, f"{kind} {i // 6}", True, "test", "", ""))
        noise = random.normal(0, 0.12, (2, 1280))
        rows[file.name] = (np.abs(alike[kind] + noise[0]), np.abs(apart[kind] + noise[1]))

    def features(
        asked: Sequence[LabelledPhoto], cache: object = None, progress: object = None, extractor: object = None
    ) -> tuple[np.ndarray, list[str]]:
        found = [rows[p.name] for p in asked]
        sides = {None: [0], "tuned": [1], "both": [0, 1]}[extractor]  # type: ignore[index]
        return np.stack([np.concatenate([row[k] for k in sides]) for row in found]), [""] * len(asked)

    for module in (prepare, full, incumbent):
        monkeypatch.setattr(module, "features_of", features)
    monkeypatch.setattr(full, "extractor_of", lambda network: "tuned")
    pixels = [random.integers(0, 255, (70, 90, 3), dtype=np.uint8)] * len(photos)
    monkeypatch.setattr(full, "keep_pixels", lambda known, said: nullcontext(pixels))
    two = lambda classifier: "both" if isinstance(classifier, TunedClassifier) else None  # noqa: E731
    monkeypatch.setattr(evaluation, "extractor_for", two)
    monkeypatch.setattr(incumbent, "extractor_for", two)
    monkeypatch.setattr(evaluation, "skew_of", lambda *_: 0.0)
    monkeypatch.setattr(decide, "copies", lambda *_: 0)
    monkeypatch.setattr(prepare, "look_at", lambda photos, side, cache=None: [])
    monkeypatch.setattr(prepare, "find_duplicates", lambda *_: type("Found", (), {"clusters": ()})())
    return photos


def test_a_run_tunes_measures_promotes_and_keeps_the_held_out_photos_from_the_network(
    made: list[LabelledPhoto], tmp_path: Path
) -> None:
    registry, recipe, cache = Registry(tmp_path / "models"), short_recipe(), tmp_path / "cache" / "f"
    said: list[tuple[str, int, int]] = []
    done = train_by("full", made, registry, cache, progress=lambda *step: said.append(step), recipe=recipe)
    assert done.promotion.changed, str(done.promotion.verdict)
    measured = done.work.measured
    assert measured is not None and measured.top1 > 0.95
    assert [name for i, (name, _, _) in enumerate(said) if i == 0 or said[i - 1][0] != name] == [
        "fitting the classifier", "tuning the network", "learning from all photos",
        "judging it against the active model",
    ]  # fmt: skip
    folder = registry.in_charge().folder
    classifier = read_classifier(folder)
    assert isinstance(classifier, TunedClassifier)
    assert classifier.tuned.statistics.counts.sum() == 300
    assert min(classifier.tuned.weights) >= 0 < sum(classifier.tuned.weights[1:])
    starter, _ = read_model(STARTER)
    assert set(starter.classes) <= set(classifier.statistics.classes)
    story = json.loads((folder / "recipe.json").read_bytes())
    assert len(story[NETWORK_LEARNED]) == done.parts["fit"], "what it is judged with has learned nothing else"
    before = read_tuned(folder, UNSEEN)
    assert before is not None and before.statistics.counts.sum() == done.parts["fit"]
    assert before.network != classifier.tuned.network
    assert not list((tmp_path / "cache").rglob("tuning.safetensors"))
    assert "full recipe" in (folder / "card.md").read_text(encoding="utf-8")

    # A quick training afterwards is judged beside it on photos that its network has not seen.
    shares = {"fit": 0.3, "calibrate": 0.1, "conformal": 0.1, "held_out": 0.5}
    quick = load_recipe("quick").model_copy(update={"shares": shares, "base_photos": 1000, "folds": 2})
    after = train_by("quick", made, registry, cache, recipe=quick)
    assert after.work.measured is not None
    assert after.work.measured.photos == after.parts["held_out"]
    assert not after.promotion.changed, "the quick one tells less apart"
    assert registry.in_charge().folder == folder

    # At the middle of an old class, whatever the new network says of it, the name is the old one.
    for row, name in enumerate(starter.classes):
        x = np.hstack([starter.means[row], np.full(1280, 0.3)])[None]
        said = softmax(classifier.logs(x))[0]
        assert classifier.statistics.classes[int(said.argmax())] == name


def test_a_fine_tuning_goes_on_where_it_was_and_learns_on_from_the_other_photos(
    made: list[LabelledPhoto], tmp_path: Path
) -> None:
    recipe, few = short_recipe(), made[:48]
    x, _ = prepare.features_of(few)
    data = Data(x, tuple(few), np.array(["fit", "fit", "fit", "fit", "calibrate", "held_out"] * 8))
    learned = learn(data, *read_model(STARTER), recipe.model_copy(update={"least_calibration_photos": 9}))
    steps: list[tuple[str, int, int]] = []
    with keep_pixels(few) as pixels:
        tuning = FineTuning(data, pixels, learned, recipe, tmp_path, lambda *step: steps.append(step))
        early = tuning.fit()
        late = tuning.grow(early)
        assert steps == [
            ("tuning the network", 1, 1),
            ("learning from all photos", 1, 2),
            ("learning from all photos", 2, 2),
        ]
        assert not torch.equal(early.linear.weight, late.linear.weight)
        again = tuning.fit()
    assert len(steps) == 3 and torch.equal(early.linear.weight, again.linear.weight)


def test_too_few_calibration_photos_are_refused_by_name_of_what_is_missing(
    made: list[LabelledPhoto], tmp_path: Path
) -> None:
    few = made[:60]
    with pytest.raises(CollectionError, match=r"only \d+ photos to calibrate with.*--recipe quick"):
        train_by("full", few, Registry(tmp_path / "models"), tmp_path / "cache" / "f", recipe=short_recipe())


def test_pixels_are_those_that_are_seen_in_use(made: list[LabelledPhoto]) -> None:
    with keep_pixels(made[:3]) as pixels:
        for kept, photo in zip(pixels, made, strict=False):
            assert np.array_equal(kept, open_photo(photo.file).pixels)


def test_a_fine_tuning_is_known_by_its_photos_parts_and_recipe(made: list[LabelledPhoto]) -> None:
    data = Data(np.zeros((2, 3)), tuple(made[:2]), np.array(["fit", "fit"]))
    recipe = short_recipe()
    known = {digest_of(data, recipe), digest_of(data, recipe)}
    known.add(digest_of(replace(data, parts=np.array(["fit", "calibrate"])), recipe))
    known.add(digest_of(data, recipe.model_copy(update={"seed": 3})))
    assert len(known) == 3
