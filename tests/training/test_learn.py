"""Learning from one's own photos: joining statistics, choosing the spread, dealing parts, a whole run."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from model.errors import CollectionError
from model.photo import Calibration, Statistics, fit_statistics
from model.photo.saved import STARTER, read_model
from training.data.dataset import Data
from training.data.manifest import LabelledPhoto
from training.gate import load_rules
from training.head.fit import deal, learn
from training.head.scatter import choose_spread, join, take_out
from training.recipes import decide as settle
from training.recipes import prepare as gather
from training.recipes import quick
from training.recipes.recipe import load_recipe
from training.registry.models import Registry

RECIPE = load_recipe("quick")


def photo(name: str, label: str, group: str, folder: Path = Path()) -> LabelledPhoto:
    return LabelledPhoto(folder / name, name, label, group, True, "mine", "", "")


def cloud(labels: list[str], size: int = 40, spread: float = 1.0, seed: int = 1) -> np.ndarray:
    """Features around a centre of each class, the same centre for the same name."""
    random = np.random.default_rng(seed)
    centres = {label: np.random.default_rng(abs(hash_of(label))).normal(0, 1.5, size) for label in set(labels)}
    return np.stack([centres[label] for label in labels]) + random.normal(0, spread, (len(labels), size))


def hash_of(text: str) -> int:
    return sum(ord(c) * 31**i for i, c in enumerate(text)) % 2**31


def test_joined_with_full_weight_statistics_are_those_of_all_photos_at_once() -> None:
    one, two = ["a", "b"] * 30, ["b", "c"] * 20
    x, y = cloud(one), cloud(two, seed=2)
    joined = join(fit_statistics(x, one), fit_statistics(y, two), 1.0)
    whole = fit_statistics(np.vstack([x, y]), one + two)
    assert joined.classes == whole.classes
    # Two classes counted once in each of the two take one degree of freedom more than in one.
    np.testing.assert_allclose(joined.counts, whole.counts)
    np.testing.assert_allclose(joined.means, whole.means)
    np.testing.assert_allclose(joined.scatter, whole.scatter, rtol=1e-9)


def test_a_light_base_leaves_its_own_spread_to_the_new_photos() -> None:
    wide, narrow = ["a", "b"] * 200, ["c", "d"] * 200
    base = fit_statistics(cloud(wide, spread=5.0), wide)
    own = fit_statistics(cloud(narrow, spread=0.5), narrow)

    def variance(weight: float) -> float:
        joined = join(base, own, weight)
        return float(np.trace(joined.scatter) / joined.counts.sum() / 40)

    assert variance(1.0) == pytest.approx((25 + 0.25) / 2, rel=0.1)
    assert variance(0.01) == pytest.approx(0.5, rel=0.2)


@pytest.mark.parametrize("weight", [1.0, 0.3, 0.1])
def test_taking_photos_out_gives_what_joining_without_them_gives(weight: float) -> None:
    base = fit_statistics(cloud(["a", "b"] * 50), ["a", "b"] * 50)
    labels = ["b", "c", "d"] * 20  # b is known to the base
    x = cloud(labels, spread=0.7)
    rest, gone = np.arange(60) >= 21, np.arange(60) < 21
    gone_labels = labels[:21]
    whole = join(base, fit_statistics(x, labels), weight)
    taken = take_out(whole, base, weight, labels, x[gone], gone_labels)
    wanted = join(base, fit_statistics(x[rest], labels[21:]), weight)
    assert taken.classes == wanted.classes and np.array_equal(taken.counts, wanted.counts)
    assert np.allclose(taken.means, wanted.means) and np.allclose(taken.scatter, wanted.scatter)
    last = take_out(whole, base, weight, labels, x, labels)
    assert last.counts[last.classes.index("d")] == 1


def test_the_spread_is_chosen_by_what_names_ones_own_photos() -> None:
    random = np.random.default_rng(5)
    labels = ["c", "d", "e"] * 30
    # What tells the three apart is what varies within the classes of the base.
    axis = np.linspace(0, 1, 40) > 0.5
    base_labels = ["a", "b"] * 300
    base_x = cloud(base_labels, spread=0.3) + random.normal(0, 6, (600, 1)) * axis
    x = (
        random.normal(0, 0.5, (90, 40))
        + np.array([{"c": -1.0, "d": 0.0, "e": 1.0}[label] for label in labels])[:, None] * axis
    )
    groups = [f"g{i // 3}" for i in range(90)]
    found = choose_spread(fit_statistics(base_x, base_labels), x, labels, groups, [0.01, 1.0], [0.05, 0.4], 4, 1)
    assert found.weight == 0.01
    assert set(found.tried) == {(w, s) for w in (0.01, 1.0) for s in (0.05, 0.4)}
    assert max(found.tried.values()) == found.tried[found.weight, found.shrinkage]


def test_every_class_has_a_group_in_the_fit_part_and_groups_move_whole() -> None:
    photos = [photo("1", "a", "g1"), photo("2", "a", "g2"), photo("3", "b", "g2"), photo("4", "c", "g3")]
    parts = deal(photos, ["held_out", "calibrate", "calibrate", "held_out"])
    assert parts == ["held_out", "fit", "fit", "fit"], "g2 serves a and b; c has only g3"
    assert deal(photos, ["fit", "calibrate", "calibrate", "fit"]) == ["fit", "fit", "fit", "fit"]


def made_data(labels: list[str], size: int = 1280) -> Data:
    photos = [photo(f"{i}", label, f"{label} {i // 2}") for i, label in enumerate(labels)]
    parts = [("fit", "fit", "calibrate", "conformal", "held_out")[(i // 2) % 5] for i in range(len(labels))]
    return Data(cloud(labels, size, 0.4), tuple(photos), np.array(deal(photos, parts)))


def test_new_classes_are_learned_beside_those_of_the_base_and_grow_by_all_photos() -> None:
    old, new = ["a", "b", "other:x"] * 60, ["c", "d"] * 60
    base = fit_statistics(cloud(old, 60, 0.4), old)
    data = made_data(new, 60)
    start = Calibration(0.4, 5.0, (0.0, 0.5, 2.0, 0.5), 0.05, 0.3)
    learned = learn(data, base, start, RECIPE)
    classifier = learned.classifier
    assert classifier.species == ("a", "b", "c", "d")
    said = classifier.probabilities(data.part("held_out").x).argmax(axis=1)
    assert (said == data.part("held_out").truth(classifier.species)).mean() > 0.9
    grown = learned.grown(data)
    rows = {name: i for i, name in enumerate(grown.statistics.classes)}
    assert grown.statistics.counts[rows["c"]] == 60 and grown.statistics.counts[rows["a"]] == 60
    assert classifier.statistics.counts[rows["c"]] < 60
    assert grown.calibration == classifier.calibration


def test_with_few_calibration_photos_the_doubts_of_the_base_are_kept() -> None:
    old = ["a", "b", "other:x"] * 60
    base = fit_statistics(cloud(old, 60, 0.4), old)
    start = Calibration(0.4, 5.0, (0.0, 0.5, 2.0, 0.5), 0.05, 0.3)
    learned = learn(made_data(["c", "d"] * 10, 60), base, start, RECIPE)
    fitted = learned.classifier.calibration
    assert (fitted.novelty, fitted.floor, fitted.temperature) == (start.novelty, start.floor, start.temperature)


def test_nothing_to_learn_from_is_said() -> None:
    base, start = read_model(STARTER)
    empty = Data(np.zeros((0, 1280)), (), np.array([], dtype=str))
    with pytest.raises(CollectionError, match="no photos to learn from"):
        learn(empty, base, start, RECIPE)


@pytest.fixture
def made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[LabelledPhoto]:
    """Two hundred and forty labelled files of two new species, with features that are made up."""
    labels = ["romulea_rosea", "facelis_retusa", "other:path"] * 80
    starter, _ = read_model(STARTER)
    random = np.random.default_rng(3)
    centres = {label: starter.means.mean(axis=0) + random.normal(0, 0.25, 1280) for label in sorted(set(labels))}
    x = np.stack([np.abs(centres[label] + random.normal(0, 0.12, 1280)) for label in labels])
    photos = []
    for i, label in enumerate(labels):
        (tmp_path / f"{i}.jpg").write_bytes(f"photo {i}".encode())
        photos.append(photo(f"{i}.jpg", label, f"{label} {i // 6}", tmp_path))
    rows = {p.name: row for p, row in zip(photos, x, strict=True)}

    def features(asked: list[LabelledPhoto], cache: object, progress: object) -> tuple[np.ndarray, list[str]]:
        notes = ["is damaged" if p.name == "7.jpg" else "" for p in asked]
        return np.stack(
            [rows[p.name] if not note else np.full(1280, np.nan) for p, note in zip(asked, notes, strict=True)]
        ), notes

    monkeypatch.setattr(gather, "features_of", features)
    monkeypatch.setattr(gather, "look_at", lambda photos, side: [])
    monkeypatch.setattr(gather, "find_duplicates", lambda *_: type("Found", (), {"clusters": ()})())
    monkeypatch.setattr(settle, "skew_of", lambda *_: 0.0)
    monkeypatch.setattr(settle, "extractor_for", lambda classifier: None)
    monkeypatch.setattr(settle, "_copies", lambda *_: 0)
    return photos


def test_a_run_promotes_what_names_more_and_does_not_promote_the_same_again_as_better(
    made: list[LabelledPhoto], tmp_path: Path
) -> None:
    registry = Registry(tmp_path / "models")
    rules = load_rules()
    # Most photos are held out, as a hundred are needed; one weight and two folds are quicker.
    shares = {"fit": 0.34, "calibrate": 0.1, "conformal": 0.1, "held_out": 0.46}
    recipe = RECIPE.model_copy(update={"shares": shares, "base_weights": [0.3], "folds": 2})
    done = quick.train_quick(made, registry, recipe, rules, tmp_path / "cache")
    assert list(done.left_out) == ["7.jpg"]
    assert done.promotion.changed, str(done.promotion.verdict)
    assert {"romulea_rosea", "facelis_retusa"} <= set(done.work.species)
    folder = registry.in_charge().folder
    statistics, _ = read_model(folder)
    assert statistics.counts[statistics.classes.index("romulea_rosea")] == 80 - (
        "7.jpg" in done.left_out and made[7].label == "romulea_rosea"
    )
    starter, _ = read_model(STARTER)
    old = {c: n for c, n in zip(starter.classes, starter.counts, strict=True)}
    new = {c: n for c, n in zip(statistics.classes, statistics.counts, strict=True)}
    assert all(new[c] == old[c] for c in old if c != "other:path"), "nothing old is forgotten"
    assert (folder / "conformal.json").exists() and (folder / "card.md").read_text(encoding="utf-8").startswith("---")
    json.dumps(done.as_json())
    # The second run is judged against the first without the photos that are held out.
    again = quick.train_quick(made, registry, recipe, rules, tmp_path / "cache")
    assert not [rule for rule in again.promotion.verdict.rules if rule.passed is False], str(again.promotion.verdict)


def test_too_few_photos_are_named_before_anything_is_done(made: list[LabelledPhoto], tmp_path: Path) -> None:
    with pytest.raises(
        CollectionError, match="facelis_retusa: 4 more photos, at least 1 of them from another plant or visit"
    ):
        quick.train_quick([made[1]], Registry(tmp_path / "models"), RECIPE, load_rules(), tmp_path / "cache")
    few = [replace(p, group="one") for p in made[:30]]
    with pytest.raises(CollectionError, match="1 more photo, from another plant or visit"):
        quick.train_quick(few, Registry(tmp_path / "models"), RECIPE, load_rules(), tmp_path / "cache")


def test_statistics_of_nothing_are_joined_to_without_harm() -> None:
    labels = ["a", "b"] * 10
    own = fit_statistics(cloud(labels), labels)
    joined = join(Statistics.empty(40), own, 0.1)
    np.testing.assert_allclose(joined.scatter, own.scatter)
