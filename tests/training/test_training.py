"""Training: groups are never split, calibration calibrates, shuffled labels learn nothing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from model.errors import CollectionError, FloraError
from model.photo import Discriminant, Statistics, fit_statistics
from model.photo.head import softmax
from training.data.manifest import LabelledPhoto, read_manifest
from training.data.split import PARTS, split
from training.evaluate.measure import calibration_null, expected_calibration_error, measure
from training.head.calibrate import fit_dependence, fit_floor, fit_temperature, move_novelty
from training.head.scatter import _said, choose_spread
from training.recipes.recipe import load_recipe
from training.recipes.starter import Data, measure_by_source, novelty_auroc, train


def made_up(shuffled: bool = False, seed: int = 3) -> Data:
    """Features of four species and two kinds of other, in groups that are alike within."""
    random = np.random.default_rng(seed)
    rows, photos = [], []
    labels = ["a", "b", "c", "d", "other:x", "other:y"]
    centres = {label: random.normal(0, 1.0, 20) for label in labels}
    for label in labels:
        for group in range(30):
            offset = random.normal(0, 0.5, 20)
            for n in range(4):
                name = f"{label}/{group}/{n}.jpg"
                rows.append(centres[label] + offset + random.normal(0, 0.5, 20))
                said = labels[int(random.integers(len(labels)))] if shuffled else label
                photos.append(LabelledPhoto(Path(name), name, said, f"{label}-{group}", True, "made up", "us", "ours"))
    recipe = load_recipe("quick")
    return Data(np.stack(rows), tuple(photos), np.array(split(photos, recipe.shares, recipe.seed)))


def test_no_group_is_in_two_parts_and_the_deal_is_the_same_every_time() -> None:
    data = made_up()
    parts: dict[str, set[str]] = {}
    for group, part in zip(data.groups, data.parts, strict=True):
        parts.setdefault(group, set()).add(str(part))
    assert all(len(p) == 1 for p in parts.values())
    assert set(data.parts) == set(PARTS)
    assert list(made_up().parts) == list(data.parts)


def test_photos_added_later_move_no_group() -> None:
    data, recipe = made_up(), load_recipe("quick")
    fewer = split(data.photos[::3], recipe.shares, recipe.seed)
    assert list(data.parts[::3]) == fewer


def test_a_whole_training_learns_calibrates_and_is_measured_on_groups_it_never_saw() -> None:
    data, recipe = made_up(), load_recipe("quick")
    trained = train(data, recipe)
    found = measure_by_source(trained, data, recipe)["all"]
    assert found.balanced_top1 > 0.85
    assert found.ece < found.ece_null * 1.5
    assert set(novelty_auroc(trained, data)) == set(trained.classifier.statistics.classes)
    assert sum(trained.account["photos_by_part"].values()) == len(data.photos)


def test_shuffled_labels_give_chance() -> None:
    data, recipe = made_up(shuffled=True), load_recipe("quick")
    trained = train(data, recipe)
    found = measure_by_source(trained, data, recipe)["all"]
    chance = 1 / 5  # four species and other
    assert abs(found.balanced_top1 - chance) < 3 * np.sqrt(chance * (1 - chance) / found.groups)


def test_training_twice_gives_the_same_bits() -> None:
    one, two = (train(made_up(), load_recipe("quick")).classifier for _ in range(2))
    assert one.calibration == two.calibration
    assert np.array_equal(one.statistics.scatter, two.statistics.scatter)


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


def test_shrinkage_is_chosen_out_of_sample() -> None:
    data = made_up()
    nothing = Statistics.empty(data.x.shape[1])
    found = choose_spread(nothing, data.x, data.labels, data.groups, [1.0], [0.01, 0.2, 0.9], 4, 1)
    assert found.tried[1.0, found.shrinkage] == max(found.tried.values()) and len(found.tried) == 3


def test_the_choice_rests_on_what_the_head_itself_would_say() -> None:
    """The axes of the spread are found once for all shrinkages; the head does each by itself."""
    data = made_up()
    statistics = fit_statistics(data.x, data.labels)
    for shrinkage, said in _said(statistics, data.x, [0.01, 0.2, 0.9]):
        assert (said == Discriminant(statistics, shrinkage).scores(data.x).argmax(axis=1)).all()


def test_a_perfect_model_stays_under_its_null_about_nineteen_times_in_twenty() -> None:
    random = np.random.default_rng(6)
    under = 0
    for draw in range(100):
        confidence = random.uniform(0.3, 1.0, 300)
        right = random.random(300) < confidence
        under += expected_calibration_error(confidence, right) <= calibration_null(confidence, 100, draw)
    assert 88 <= under <= 100


def test_doubts_move_with_what_is_ordinary_and_classes_weigh_alike() -> None:
    known, labels = np.array([0.2, 0.2, 0.2, 0.6]), ["a", "a", "a", "b"]
    assert move_novelty((0.1, 0.02, 0.3, 0.05), known, labels) == pytest.approx((0.4, 0.02, 0.6, 0.05))


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


def test_a_missing_manifest_and_a_bad_recipe_are_sentences(tmp_path: Path) -> None:
    with pytest.raises(CollectionError, match="name a folder of photos"):
        read_manifest(tmp_path)
    (tmp_path / "recipes").mkdir()
    (tmp_path / "recipes" / "quick.yaml").write_text("seed: 1\n")
    with pytest.raises(FloraError, match=r"quick\.yaml"):
        load_recipe("quick", tmp_path)


def test_the_split_of_the_real_photos_keeps_photographers_whole(photos: Path) -> None:
    recipe, rows = load_recipe("quick"), read_manifest(photos)
    parts: dict[str, set[str]] = {}
    for photo, part in zip(rows, split(rows, recipe.shares, recipe.seed), strict=True):
        parts.setdefault(photo.group, set()).add(part)
    assert all(len(p) == 1 for p in parts.values())
