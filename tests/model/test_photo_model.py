"""The shipped photo model, on drawn and on real photos, and hostile or damaged model folders."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from sklearn import datasets

from model.errors import ModelError
from model.identify import Key, Observation, identify
from model.photo.model import PhotoModel, load_model
from model.photo.sandbox import open_photo
from model.photo.saved import STARTER, read_model

ROOT = Path(__file__).resolve().parents[2]
NOT_A_PLANT = Path(datasets.__file__).parent / "images" / "china.jpg"


@pytest.fixture(scope="module")
def starter() -> PhotoModel:
    return load_model()


def held_out(photos: Path, species: str, count: int) -> list[Path]:
    """Photos of a species that the starter was not fitted on."""
    from training.data.split import part_of
    from training.recipes.recipe import load_recipe

    recipe = load_recipe("quick")
    with (photos / "manifest.csv").open(encoding="utf-8", newline="") as file:
        rows = [r for r in csv.DictReader(file) if r["photo"].startswith(species + "/")]
    groups = [(r["group"] if r["group"] not in ("", "unknown") else r["photo"], r["photo"]) for r in rows]
    kept = [name for group, name in groups if part_of(group, recipe.shares, recipe.seed) == "held_out"]
    return [photos / name for name in kept[:count]]


def test_real_photos_that_were_not_learned_from_are_mostly_named(key: Key, starter: PhotoModel, photos: Path) -> None:
    kinds = ("taraxacum_officinale", "trifolium_repens", "sinapis_arvensis")
    right = [
        identify(key, {}, starter.look([open_photo(file)])).candidates[0].species == species
        for species in kinds
        for file in held_out(photos, species, 4)
    ]
    assert sum(right) >= 9


def test_a_garden_flower_and_a_thing_that_is_no_plant_say_so(key: Key, starter: PhotoModel, photos: Path) -> None:
    flowers = [identify(key, {}, starter.look([open_photo(f)])) for f in held_out(photos, "_other/sunflower", 4)]
    said = [any("none of the species" in n or "unlike" in n for n in f.photos[0]["notes"]) for f in flowers]
    assert sum(said) >= 3 and all(f.status == "undecided" for f in flowers)
    notes = identify(key, {}, starter.look([open_photo(NOT_A_PLANT)])).photos[0]["notes"]
    assert any("unlike every plant" in note for note in notes)


def test_several_photos_of_one_plant_are_one_evidence(starter: PhotoModel, photos: Path) -> None:
    files = held_out(photos, "taraxacum_officinale", 2)
    evidence = starter.look([open_photo(f) for f in files])
    assert len(evidence.photos) == 2
    assert sum(evidence.probabilities.values()) <= 1.0 + 1e-9
    assert evidence.probabilities["taraxacum_officinale"] > 0.5


def test_the_drawn_sample_is_taken_for_what_it_shows(key: Key, starter: PhotoModel) -> None:
    evidence = starter.look([open_photo(ROOT / "sample_images" / "taraxacum_officinale_flowering_3.jpg")])
    assert identify(key, {}, evidence).candidates[0].species == "taraxacum_officinale"


def test_a_photo_of_one_colour_says_nothing(key: Key, starter: PhotoModel, tmp_path: Path) -> None:
    from PIL import Image

    Image.new("RGB", (300, 300), (90, 120, 60)).save(tmp_path / "flat.png")
    evidence = starter.look([open_photo(tmp_path / "flat.png")])
    assert not evidence.photos[0]["usable"]
    p = key.posterior(Observation({}, evidence))
    assert np.allclose(p, key.posterior(Observation()))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copytree(STARTER, tmp_path / "model")
    return tmp_path / "model"


def _pickled(folder: Path) -> None:
    import pickle

    (folder / "head.safetensors").write_bytes(pickle.dumps({"counts": [1]}))


def _cut(folder: Path) -> None:
    path = folder / "head.safetensors"
    path.write_bytes(path.read_bytes()[:-1])


def _renamed_class(folder: Path) -> None:
    data = json.loads((folder / "model.json").read_text())
    (folder / "model.json").write_text(json.dumps({**data, "classes": [*data["classes"], "one_more"]}))


def _other_views(folder: Path) -> None:
    data = json.loads((folder / "model.json").read_text())
    (folder / "model.json").write_text(json.dumps({**data, "features": "lite0-224"}))


def _not_finite(folder: Path) -> None:
    from safetensors.numpy import load_file, save_file

    arrays = load_file(folder / "head.safetensors")
    arrays["means"][0, 0] = np.nan
    save_file(arrays, folder / "head.safetensors")


BAD = {
    "pickled": (_pickled, "cannot be read"),
    "cut short": (_cut, "cannot be read"),
    "one class more": (_renamed_class, "does not hold the arrays of a head"),
    "other views": (_other_views, "train it again"),
    "not finite": (_not_finite, "not finite"),
    "no description": (lambda folder: (folder / "model.json").unlink(), "is missing"),
}


@pytest.mark.parametrize("kind", BAD)
def test_a_damaged_or_foreign_model_is_refused_in_one_sentence(folder: Path, kind: str) -> None:
    spoil, says = BAD[kind]
    spoil(folder)
    with pytest.raises(ModelError) as error:
        read_model(folder)
    assert says in str(error.value) and "\n" not in str(error.value)


def test_the_card_says_what_it_was_trained_on_and_gives_figures_by_source() -> None:
    card = (STARTER / "card.md").read_text(encoding="utf-8")
    for words in ("CC BY-SA 4.0", "flickr_flowers", "clover_lawn", "seedlings", "null", "groups known"):
        assert words in card


def test_the_hint_of_an_earlier_version_is_ignored(starter: PhotoModel, folder: Path) -> None:
    (folder / "hint.json").write_text("{")
    (folder / "hint.safetensors").write_bytes(b"")
    assert load_model(folder).classifier.species == starter.classifier.species


def test_training_and_use_see_the_same_features(starter: PhotoModel, photos: Path) -> None:
    from training.data.features import features_of
    from training.data.manifest import read_manifest

    some = read_manifest(photos)[::700]
    trained, notes = features_of(some)
    served = np.stack([starter.extractor.features(open_photo(p.file)) for p in some])
    assert notes == [""] * len(some)
    assert np.abs(trained - served).max() < 1e-6
