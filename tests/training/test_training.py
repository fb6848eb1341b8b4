"""The parts of a training: groups are never split, calibration calibrates, shuffled labels learn nothing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from model.errors import CollectionError, FloraError
from model.photo.evidence import Classifier
from model.photo.head import Statistics, fit_statistics, softmax
from model.photo.saved import read_model
from tests.claims.regressions import made_up
from training.data.dataset import Data
from training.data.manifest import read_manifest
from training.data.split import PARTS, grouped_folds, split
from training.evaluate.measure import (
    Measurement,
    calibration_null,
    expected_calibration_error,
    measure,
    measure_classifier,
)
from training.head.calibrate import fit_dependence, fit_floor, fit_temperature, shift_novelty
from training.head.conformal import read_sets
from training.head.cross_fit import cross_fit
from training.head.fit import Learned
from training.recipes import make_starter
from training.recipes.make_starter import learn_starter, novelty_auroc, of_known_groups
from training.recipes.recipe import load_recipe

RECIPE = load_recipe("quick").model_copy(update={"null_draws": 50, "folds": 2})


@pytest.fixture(scope="module")
def data() -> Data:
    """Features of four species and two kinds of other, in groups of four that are alike within."""
    return made_up(RECIPE, groups=40, apart=1.6)


@pytest.fixture(scope="module")
def learned(data: Data) -> Learned:
    return learn_starter(data, RECIPE)


def held_out(learned: Learned, data: Data) -> Measurement:
    held = data.part("held_out")
    return measure_classifier("x", learned.classifier, held.photos, held.x, None, RECIPE.null_draws).figures


def test_no_group_is_in_two_parts_and_photos_added_later_move_none(data: Data) -> None:
    parts: dict[str, set[str]] = {}
    for group, part in zip(data.groups, data.parts, strict=True):
        parts.setdefault(group, set()).add(str(part))
    assert all(len(p) == 1 for p in parts.values()) and set(data.parts) == set(PARTS)
    assert list(data.parts[::3]) == split(data.photos[::3], RECIPE.shares, RECIPE.seed)


def test_a_starter_learns_calibrates_and_is_measured_on_groups_it_never_saw(data: Data, learned: Learned) -> None:
    found = held_out(learned, data)
    assert found.balanced_top1 > 0.85 and found.ece < found.ece_null * 1.5
    assert learned.classifier.calibration.dependence < 1.0, "fitted: there are groups enough"
    assert of_known_groups(learned, data, RECIPE) == replace(found, ece_null=pytest.approx(found.ece_null, abs=0.02))
    assert set(novelty_auroc(learned, data)) == set(learned.classifier.statistics.classes)
    again = learn_starter(data, RECIPE).classifier
    assert again.calibration == learned.classifier.calibration, "the same every time"
    assert np.array_equal(again.statistics.scatter, learned.classifier.statistics.scatter)


def test_novelty_of_the_starter_is_fitted_on_field_photos_alone(data: Data, monkeypatch: pytest.MonkeyPatch) -> None:
    """A third of the photos comes from a bench, with groups that are not known."""
    photos = tuple(replace(photo, group_known=i % 12 < 8) for i, photo in enumerate(data.photos))
    mixed, fitted = replace(data, photos=photos), []
    monkeypatch.setattr(
        "training.head.calibrate.fit_novelty", lambda learned, *_: fitted.append(len(learned)) or (0.0, 1.0, 1.0, 1.0)
    )
    learn_starter(mixed, RECIPE)
    assert fitted == [sum(photo.group_known for photo in mixed.part("fit", "calibrate").photos)]


def test_novelty_with_a_class_left_out_is_that_of_heads_of_all_the_other_photos(
    data: Data, learned: Learned, monkeypatch: pytest.MonkeyPatch
) -> None:
    fitted: list[float] = []

    def left_out(base: Statistics, weight: float, calibration: object, fit: Data, check: Data) -> np.ndarray:
        fitted.append(len(fit.photos))
        return np.zeros(len(check.photos))

    monkeypatch.setattr(make_starter, "novelty_left_out", left_out)
    novelty_auroc(learned, data)
    assert fitted == [learned.classifier.statistics.counts.sum()]


def test_shuffled_labels_give_chance(data: Data) -> None:
    labels = np.random.default_rng(3).permutation(data.labels)
    photos = tuple(replace(photo, label=str(label)) for photo, label in zip(data.photos, labels, strict=True))
    shuffled = replace(data, photos=photos)
    found = held_out(learn_starter(shuffled, RECIPE), shuffled)
    chance = 1 / 5  # four species and other
    assert abs(found.balanced_top1 - chance) < 3 * np.sqrt(chance * (1 - chance) / found.groups)


def test_the_starter_is_written_with_sets_card_and_account(
    data: Data, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Made-up features of the real size; files only to be known by their content."""
    kept = data.where(np.isin(data.labels, ["a", "b", "other:x"]))
    photos = []
    for i, photo in enumerate(kept.photos):
        (tmp_path / f"{i}.jpg").write_bytes(photo.name.encode())
        photos.append(replace(photo, file=tmp_path / f"{i}.jpg"))
    x = np.hstack([kept.x, np.random.default_rng(1).normal(0, 0.3, (len(photos), 1260))])
    monkeypatch.setattr(make_starter, "read_manifest", lambda folder: photos)
    monkeypatch.setattr("training.recipes.prepare.features_of", lambda *_: (x, [""] * len(photos)))
    monkeypatch.setattr(make_starter, "novelty_auroc", lambda *_: {"a": 0.75})
    monkeypatch.setattr(make_starter, "load_recipe", lambda name: RECIPE.model_copy(update={"shrinkage": 0.2}))
    out = tmp_path / "out"
    assert make_starter.main([str(tmp_path), str(out)]) == 0
    statistics, _ = read_model(out)
    sets = read_sets(out)
    assert sets is not None and sets.classes == ("a", "b", "other")
    assert statistics.classes == ("a", "b", "other:x")
    text = (out / "card.md").read_text(encoding="utf-8")
    assert text in capsys.readouterr().out and "| groups known |" in text
    assert next(line for line in text.splitlines() if line.startswith("| a |")).endswith(" 0.750 |")
    assert make_starter.main([str(tmp_path)]) == 2


def test_temperature_recovers_what_was_spoilt() -> None:
    random = np.random.default_rng(4)
    scores = random.normal(0, 2, (4000, 5))
    truth = np.array([random.choice(5, p=p) for p in softmax(scores)])
    assert fit_temperature(scores * 7.0, truth) == pytest.approx(7.0, rel=0.1)


def test_the_floor_grows_where_the_photos_mislead() -> None:
    truth = np.repeat(np.arange(4), 50)
    sure = np.full((200, 4), 0.01 / 3)
    sure[np.arange(200), truth] = 0.99
    misled = sure.copy()
    misled[::5] = np.roll(sure[::5], 1, axis=1)
    assert fit_floor(sure, truth, 0.02) == pytest.approx(0.02)
    assert fit_floor(misled, truth, 0.02) > 0.1


def test_copies_of_one_photo_count_as_one() -> None:
    random = np.random.default_rng(5)
    truth = random.integers(0, 3, 120)
    rows = np.full((120, 3), 0.2)
    said = np.where(random.random(120) < 0.6, truth, (truth + 1) % 3)
    rows[np.arange(120), said] = 0.6
    groups = [f"g{i}" for i in range(120)] * 3
    dependence, count = fit_dependence(np.vstack([rows] * 3), np.concatenate([truth] * 3), groups)
    assert count == 120 and dependence >= 0.9


def test_photos_calibrate_by_heads_that_have_not_learned_from_them(data: Data) -> None:
    own, base = data.part("fit", "calibrate"), Statistics.empty(data.x.shape[1])
    whole = Classifier(fit_statistics(own.x, own.labels), replace(make_starter.NOTHING_FITTED, shrinkage=0.2))
    crossed = cross_fit(whole, base, 1.0, own, 5, 1)
    assert crossed is not None and len(crossed.data.photos) == len(own.photos)
    fold = grouped_folds(own.labels, own.groups, 5, 1)
    assert set(fold) == set(range(5)) and len(set(zip(own.groups, fold, strict=True))) == len(set(own.groups))
    for number in range(5):
        here, others = fold == number, own.where(fold != number)
        alone = Classifier(fit_statistics(others.x, others.labels), whole.calibration)
        assert np.allclose(crossed.scores[here], alone.head.scores(own.x[here]))
        assert np.allclose(crossed.novelty[here], alone.novelty(own.x[here]))
        warm = replace(whole.calibration, temperature=3.0)
        said = Classifier(alone.statistics, warm).probabilities(own.x[here])
        assert np.allclose(crossed.probabilities(warm)[here], said)
    # A class with one group is in no head that could judge it; folds that cannot be made are said.
    first = own.groups[own.labels.index("a")]
    lone = own.where(np.array([photo.label != "a" or photo.group == first for photo in own.photos]))
    found = cross_fit(Classifier(fit_statistics(lone.x, lone.labels), whole.calibration), base, 1.0, lone, 5, 1)
    assert found is not None and "a" not in found.data.labels and not np.isinf(found.scores).all(axis=1).any()
    one = own.where(np.array([group == own.groups[0] for group in own.groups]))
    assert cross_fit(whole, base, 1.0, one, 5, 1) is None


def test_a_perfect_model_stays_under_its_null_about_nineteen_times_in_twenty() -> None:
    random = np.random.default_rng(6)
    under = 0
    for draw in range(60):
        confidence = random.uniform(0.3, 1.0, 200)
        right = random.random(200) < confidence
        under += expected_calibration_error(confidence, right) <= calibration_null(confidence, 60, draw)
    assert 52 <= under <= 60


def test_doubts_move_with_what_is_ordinary_and_classes_weigh_alike() -> None:
    known, labels = np.array([0.2, 0.2, 0.2, 0.6]), ["a", "a", "a", "b"]
    assert shift_novelty((0.1, 0.2, 0.3, 0.5), known, labels) == pytest.approx((0.4, 0.2, 0.6, 0.5))
    # Photos of one's own that differ more among themselves than those of the model before make both wider.
    assert shift_novelty((0.1, 0.02, 0.3, 0.05), known, labels) == pytest.approx((0.4, 0.2, 0.6, 0.5))


def test_measure_counts_by_hand() -> None:
    p = np.array([[0.7, 0.2, 0.1], [0.1, 0.6, 0.3], [0.5, 0.4, 0.1], [0.2, 0.2, 0.6]])
    found = measure(p, np.array([0, 1, 1, 2]), ["a", "b", "c"], ["g1", "g1", "g2", "g3"], draws=20)
    assert (found.photos, found.groups) == (4, 3)
    assert found.top1 == 0.75 and found.top3 == 1.0
    assert found.per_class == {"a": 1.0, "b": 0.5, "c": 1.0}
    assert found.nll == pytest.approx(-np.log([0.7, 0.6, 0.4, 0.6]).mean())


MANIFEST = "photo,species,group,source,creator,licence\n"
BAD = {
    "no column": ("photo,species\n", "has no column group"),
    "outside": (MANIFEST + "../x.jpg,a,g,s,c,l\n", "row 2: photo '../x.jpg' is not a path inside the folder"),
    "no species": (MANIFEST + "a/x.jpg,,g,s,c,l\n", "row 2: 'a/x.jpg' has no species"),
}


@pytest.mark.parametrize("kind", BAD)
def test_a_bad_manifest_names_the_row(tmp_path: Path, kind: str) -> None:
    text, says = BAD[kind]
    (tmp_path / "manifest.csv").write_text(text)
    with pytest.raises(CollectionError) as error:
        read_manifest(tmp_path)
    assert says in str(error.value)


def test_a_missing_manifest_and_a_bad_recipe_are_sentences(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(CollectionError, match="name a folder of photos"):
        read_manifest(tmp_path)
    (tmp_path / "quick.yaml").write_text("seed: 1\n")
    monkeypatch.setattr("training.recipes.recipe.FOLDER", tmp_path)
    with pytest.raises(FloraError, match=r"quick\.yaml"):
        load_recipe("quick")


def test_the_split_of_the_real_photos_keeps_photographers_whole(photos: Path) -> None:
    rows = read_manifest(photos)
    parts: dict[str, set[str]] = {}
    for photo, part in zip(rows, split(rows, RECIPE.shares, RECIPE.seed), strict=True):
        parts.setdefault(photo.group, set()).add(part)
    assert all(len(p) == 1 for p in parts.values())
