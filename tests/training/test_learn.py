"""Learning from one's own photos: joining statistics, calibrating, and whole trainings."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

import training.recipes
from model.errors import CollectionError
from model.flora.load import CONFIGS
from model.photo.evidence import Calibration
from model.photo.extract import RECIPE as RECIPE_OF_FEATURES
from model.photo.head import Statistics, fit_statistics
from model.photo.saved import STARTER, read_model, save_model
from tests.training.made_up_photos import made_up_photos
from tests.training.test_sharing import RULES, WORD, active, bench, bits, contents, file_of, gift_of
from training.data.dataset import Data
from training.data.duplicates import Cluster
from training.data.manifest import LabelledPhoto
from training.data.split import every_class_in_fit
from training.head.fit import learn
from training.head.scatter import join, take_out
from training.recipes.decide import copies
from training.recipes.recipe import load_recipe, recipe_names, recipes_said
from training.recipes.train import train
from training.registry.models import Registry
from training.sharing.join_decision import join_gifts, take_out_gifts
from training.sharing.merge import merge
from training.sharing.shared_file import read_shared

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


def test_every_class_has_a_group_in_the_fit_part_and_groups_move_whole() -> None:
    photos = [photo("1", "a", "g1"), photo("2", "a", "g2"), photo("3", "b", "g2"), photo("4", "c", "g3")]
    parts = every_class_in_fit(photos, ["held_out", "calibrate", "calibrate", "held_out"])
    assert parts == ["held_out", "fit", "fit", "fit"], "g2 serves a and b; c has only g3"
    assert every_class_in_fit(photos, ["fit", "calibrate", "calibrate", "fit"]) == ["fit", "fit", "fit", "fit"]


def made_data(labels: list[str], size: int = 1280) -> Data:
    photos = [photo(f"{i}", label, f"{label} {i // 2}") for i, label in enumerate(labels)]
    parts = [("fit", "fit", "calibrate", "conformal", "held_out")[(i // 2) % 5] for i in range(len(labels))]
    return Data(cloud(labels, size, 0.4), tuple(photos), np.array(every_class_in_fit(photos, parts)))


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
    assert replace(grown.calibration, temperature=1.0) == replace(classifier.calibration, temperature=1.0)


def test_with_few_calibration_photos_the_doubts_of_the_base_are_kept() -> None:
    old = ["a", "b", "other:x"] * 60
    base = fit_statistics(cloud(old, 60, 0.4), old)
    start = Calibration(0.4, 5.0, (0.0, 0.5, 2.0, 0.5), 0.05, 0.3)
    learned = learn(made_data(["c", "d"] * 10, 60), base, start, RECIPE)
    fitted = learned.classifier.calibration
    assert (fitted.floor, fitted.temperature, fitted.dependence) == (start.floor, start.temperature, start.dependence)
    assert np.diff(fitted.novelty)[1] == pytest.approx(2.0 - 0.0 - 0.0, abs=0.6), "moved to where one's own photos lie"


def test_where_no_photo_can_be_judged_by_other_plants_nothing_of_the_calibration_moves() -> None:
    """Two species of which one plant each is learned: each is in no head of the other fold."""
    old = ["a", "b", "other:x"] * 60
    base, start = fit_statistics(cloud(old, 60, 0.4), old), Calibration(0.2, 5.0, (-0.5, 0.1, 0.1, 0.2), 0.05, 0.3)
    photos = tuple(photo(f"{n}", "cd"[n // 5], f"plant {n // 5}") for n in range(10))
    learned = learn(Data(cloud(["c"] * 5 + ["d"] * 5, 60, 0.4), photos, np.full(10, "fit")), base, start, RECIPE)
    assert learned.classifier.calibration == start and learned.calibrated_on == 0


def test_nothing_to_learn_from_is_said() -> None:
    base, start = read_model(STARTER)
    empty = Data(np.zeros((0, 1280)), (), np.array([], dtype=str))
    with pytest.raises(CollectionError, match="no photos to learn from"):
        learn(empty, base, start, RECIPE)


@pytest.fixture
def made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[LabelledPhoto]:
    """Two hundred and forty labelled files of two new species, with features that are made up."""
    labels = ["romulea_rosea", "facelis_retusa", "other:path"] * 80
    random, middle = np.random.default_rng(3), read_model(STARTER)[0].means.mean(axis=0)
    centres = {label: middle + random.normal(0, 0.25, 1280) for label in sorted(set(labels))}
    rows, photos = {}, []
    for i, label in enumerate(labels):
        (tmp_path / f"{i}.jpg").write_bytes(f"photo {i}".encode())
        photos.append(photo(f"{i}.jpg", label, f"{label} {i // 6}", tmp_path))
        rows[f"{i}.jpg"] = np.abs(centres[label] + random.normal(0, 0.12, 1280))
    rows["7.jpg"][:] = np.nan

    def features(asked: list[LabelledPhoto], *_: object) -> tuple[np.ndarray, list[str]]:
        return np.stack([rows[p.name] for p in asked]), ["is damaged" if p.name == "7.jpg" else "" for p in asked]

    monkeypatch.setattr("training.recipes.prepare.features_of", features)
    monkeypatch.setattr("training.recipes.prepare.look_at", lambda photos, side, cache: [])
    monkeypatch.setattr("training.recipes.prepare.find_duplicates", lambda *_: SimpleNamespace(clusters=()))
    for name, found in (("skew_of", 0.0), ("extractor_for", None)):
        monkeypatch.setattr(f"training.recipes.evaluation.{name}", lambda *_, found=found: found)
    return photos


# Most photos are held out, as a hundred are needed; one weight and one shrinkage are quicker.
SHARES = {"fit": 0.34, "calibrate": 0.1, "conformal": 0.1, "held_out": 0.46}
SHORT = RECIPE.model_copy(update={"shares": SHARES, "base_photos": 1000, "shrinkage": 0.2})


TOY = '''"""The toy recipe: one more of its kind."""
from training.recipes import quick
from training.recipes.recipe import Recipe

class Settings(Recipe):
    colour: str

def make(training):
    assert training.recipe.colour == "red"
    return quick.make(training)
'''


@pytest.fixture
def toy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A recipe of one module and one file of settings, which is the quick one with a setting more."""
    settings = tmp_path / "settings"
    settings.mkdir()
    quick = (CONFIGS / "recipes" / "quick.yaml").read_text(encoding="utf-8")
    (settings / "quick.yaml").write_text(quick, encoding="utf-8")
    (settings / "toy.yaml").write_text(f"{quick}\ncolour: red\n", encoding="utf-8")
    (tmp_path / "toy.py").write_text(TOY, encoding="utf-8")
    monkeypatch.setattr(training.recipes, "__path__", [*training.recipes.__path__, str(tmp_path)])
    monkeypatch.setattr("training.recipes.recipe.FOLDER", settings)
    yield
    sys.modules.pop("training.recipes.toy", None)


@pytest.mark.usefixtures("toy")
def test_a_run_promotes_what_names_more_and_a_new_recipe_needs_one_module_and_one_file(
    made: list[LabelledPhoto], tmp_path: Path
) -> None:
    registry = Registry(tmp_path / "models")
    done = train("quick", made, registry, tmp_path / "cache", recipe=SHORT)
    assert list(done.left_out) == ["7.jpg"] and made[7].label == "facelis_retusa"
    assert done.promotion.changed, str(done.promotion.verdict)
    assert {"romulea_rosea", "facelis_retusa"} <= set(done.work.species)
    folder = registry.in_charge().folder
    old, new = (
        dict(zip(found.classes, found.counts, strict=True)) for found in (read_model(STARTER)[0], read_model(folder)[0])
    )
    assert all(new[c] == old[c] for c in old), "nothing old is forgotten"
    assert {c: n for c, n in new.items() if c not in old} == {
        "romulea_rosea": 80, "facelis_retusa": 79, "other:path": 80,
    }  # fmt: skip
    text = (folder / "card.md").read_text(encoding="utf-8")
    assert (folder / "conformal.json").exists() and text.startswith("---") and "Made by the quick recipe" in text
    json.dumps(done.as_json())
    # The same again is judged against the first without the photos that are held out, and found no worse.
    assert recipe_names() == ("quick", "toy") and recipes_said().endswith("toy: one more of its kind.")
    recipe = load_recipe("toy").model_copy(update=SHORT.model_dump())
    again = train("toy", made, registry, tmp_path / "cache", recipe=recipe)
    assert again.promotion.verdict.decision == "promote", str(again.promotion.verdict)
    folder = registry.in_charge().folder
    assert json.loads((folder / "recipe.json").read_bytes())["recipe"]["colour"] == "red"
    assert "Made by the toy recipe" in (folder / "card.md").read_text(encoding="utf-8")


def test_where_the_active_model_cannot_be_read_a_training_is_judged_beside_the_starter(
    made: list[LabelledPhoto], tmp_path: Path
) -> None:
    """A model of an earlier network, whose message says to train again."""
    old, registry = tmp_path / "old", Registry(tmp_path / "models")
    save_model(old, *read_model(STARTER), {}, "# Old")
    text = (old / "model.json").read_text(encoding="utf-8")
    (old / "model.json").write_text(text.replace(RECIPE_OF_FEATURES, "another network"), encoding="utf-8")
    registry.use(registry.install(old))
    done = train("quick", made, registry, tmp_path / "cache", recipe=SHORT)
    assert done.promotion.changed and done.promotion.verdict.old == "starter"
    assert registry.in_charge().name == done.promotion.in_charge and registry.pointer().previous == "starter"


def test_a_training_keeps_what_others_gave_and_each_can_still_be_taken_out(
    made: list[LabelledPhoto], tmp_path: Path
) -> None:
    alone, registry = Registry(tmp_path / "alone"), Registry(tmp_path / "models")
    train("quick", made, alone, tmp_path / "cache", recipe=SHORT)
    kim, ali = (
        gift_of(read_shared(file_of(made_up_photos(names, 10, seed), tmp_path / giver, giver), RULES))
        for giver, names, seed in (("Kim", ("poa_annua", "soliva_sessilis"), 1), ("Ali", ("oxalis_corniculata",), 2))
    )
    join_gifts(active(registry), [kim, ali], registry, bench(tmp_path, None), WORD)
    done = train("quick", made, registry, tmp_path / "cache", recipe=SHORT)
    assert done.promotion.changed, str(done.promotion.verdict)
    assert {"poa_annua", "oxalis_corniculata", "romulea_rosea"} <= set(done.work.species)
    model = active(registry)
    assert [gift.entry for gift in model.gifts] == [kim.entry, ali.entry]
    own, whole = read_model(alone.in_charge().folder)[0], read_model(model.folder)[0]
    assert bits(model.own.statistics) == bits(own)
    together = merge(own, [kim.contribution, ali.contribution])
    assert whole.classes == together.classes and np.allclose(whole.means, together.means, atol=1e-6)
    # The same again is judged beside it without the photos that are held out, gifts and all.
    again = train("quick", made, registry, tmp_path / "cache", recipe=SHORT)
    assert again.promotion.verdict.decision == "promote", str(again.promotion.verdict)
    take_out_gifts(active(registry), ["Kim"], registry)
    left = read_model(registry.in_charge().folder)[0]
    assert "poa_annua" not in left.classes and "oxalis_corniculata" in left.classes
    take_out_gifts(active(registry), ["Ali"], registry)
    assert contents(registry.in_charge().folder) == contents(alone.in_charge().folder)


def test_held_out_photos_that_are_copies_of_learned_ones_are_counted() -> None:
    data = made_data(["c", "d"] * 10, 5)
    held, fit, other = (data.part(part).photos for part in ("held_out", "fit", "conformal"))
    for photos, count in (
        ([held[0], fit[0]], 1),
        ([held[0], held[1], other[0], fit[1]], 2),
        ([held[0], held[1]], 0),
        ([fit[0], fit[1]], 0),
    ):
        assert copies(data, [Cluster(tuple(p.name for p in photos), "near duplicate", ("c",))]) == count


def test_recipes_are_those_with_a_module_and_a_file(made: list[LabelledPhoto], tmp_path: Path) -> None:
    assert {"full", "quick"} <= set(recipe_names()) and "quick: minutes; the shipped network" in recipes_said()
    assert not {"make_starter", "starter", "recipe"} & set(recipe_names())
    for name in ("make_starter", "starter", "../quick", "recipe", ""):
        with pytest.raises(CollectionError, match=f"there is no such recipe; choose {' or '.join(recipe_names())}"):
            train(name, made, Registry(tmp_path / "models"), tmp_path / "cache")


def test_too_few_photos_are_named_before_anything_is_done(made: list[LabelledPhoto], tmp_path: Path) -> None:
    few = [replace(p, group="one") for p in made[:30]]
    for photos, says in (
        ([made[1]], "facelis_retusa: 4 more photos, at least 1 of them from another plant or visit"),
        (few, "1 more photo, from another plant or visit"),
        ([made[7]], "nothing can be learned yet: the collection is empty"),
    ):
        with pytest.raises(CollectionError, match=says):
            train("quick", photos, Registry(tmp_path / "models"), tmp_path / "cache")


def test_copies_of_one_photo_are_too_few_for_a_training_as_they_are_for_the_check(
    made: list[LabelledPhoto], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Six photos of two plants, of which five are one picture."""
    photos = [p for p in made if p.label == "facelis_retusa" and p.name != "7.jpg"]
    photos = [*photos[:5], photos[10]]
    copy = Cluster(tuple(p.name for p in photos[:5]), "near duplicate", ("facelis_retusa",))
    monkeypatch.setattr("training.recipes.prepare.find_duplicates", lambda *_: SimpleNamespace(clusters=(copy,)))
    with pytest.raises(CollectionError, match="facelis_retusa: 3 more photos, of any plant"):
        train("quick", photos, Registry(tmp_path / "models"), tmp_path / "cache")


def test_statistics_of_nothing_are_joined_to_without_harm() -> None:
    labels = ["a", "b"] * 10
    own = fit_statistics(cloud(labels), labels)
    joined = join(Statistics.empty(40), own, 0.1)
    np.testing.assert_allclose(joined.scatter, own.scatter)
