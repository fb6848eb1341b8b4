"""What the gate reads of models, and what promoting writes down; small made-up models."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import count
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from model.errors import ModelError
from model.photo.evidence import Calibration, Classifier
from model.photo.head import Statistics
from tests.training.test_registry import model
from training.data.manifest import LabelledPhoto
from training.gate import HeldOut, Origin, Override, Part, Rule, Verdict, promote
from training.gate.judge import judge, other_left_out, skew_of
from training.gate.simulated import simulate, with_simulated
from training.registry import models
from training.registry.model_folder import name_of
from training.registry.models import KEPT, KEPT_ASIDE, STARTER, Registry

Array = NDArray[np.float64]
CLASSES = ("a", "b", "c", "other:x")


def classifier(classes: tuple[str, ...] = CLASSES) -> Classifier:
    """One class on each axis, three photos of each, the same spread everywhere."""
    means = np.eye(4)[[CLASSES.index(name) for name in classes]]
    statistics = Statistics(classes, np.full(len(classes), 3.0), means, np.eye(4))
    return Classifier(statistics, Calibration(0.5, 2.0, (0.0, 0.5, 1.5, 0.6), 0.02, 0.5))


def test_a_model_is_judged_by_what_it_says() -> None:
    one, x, labels = classifier(), np.random.default_rng(1).random((3, 4)), ["a", "b", "other:x"]
    judged = judge("mine", one, x, labels)
    assert (judged.name, judged.species) == ("mine", ("a", "b", "c"))
    assert np.array_equal(judged.probabilities, one.probabilities(x)) and judged.other_left_out is not None
    assert np.array_equal(judged.other_left_out, other_left_out(one, x, labels))


def novelty_without(x: Array, row: int) -> float:
    """Worked out from the covariance, an eighth of the identity (4 axes of scatter 1, 12 photos, 4 classes)."""
    means = np.delete(np.eye(4), row, axis=0)
    squares = ((x - means) ** 2).sum(axis=1) * 8.0
    nearest = squares.min() - 4.0 / 3.0  # four directions, each mean of three photos off by a third
    off, between = x - means.mean(axis=0), means - means.mean(axis=0)
    to_background = off @ np.linalg.inv(np.eye(4) / 8.0 + between.T @ between / 3.0) @ off
    return float(np.log(nearest) - 0.98 * np.log(to_background))


def test_p_other_without_the_own_class_is_what_the_formula_gives() -> None:
    """Step by step for each photo: the own class gone, the closed world of the rest, and odds from novelty."""
    one = classifier()
    x = np.array([[0.9, 0.1, 0.0, 0.2], [0.1, 0.2, 0.6, 0.1], [0.3, 0.0, 0.2, 0.9], [0.5, 0.5, 0.0, 0.0]])
    labels = ["a", "c", "other:x", "unheard of"]
    found = other_left_out(one, x, labels)
    assert np.isnan(found).tolist() == [False, False, False, True]
    prior = {"a": 1.0, "b": 1.0, "c": 1.0, "other:x": 0.5}
    for i, label in enumerate(labels[:3]):
        distances = one.head.distances(x[i : i + 1])[0]
        weight = {
            name: prior[name] * np.exp(-distances[n] / 4.0) for n, name in enumerate(CLASSES) if name != label
        }  # half of the distance, over a temperature of 2
        z = np.array([novelty_without(x[i], CLASSES.index(label))])
        novel = 0.125  # half of the quarter that four names, three species and other, have each
        odds = novel / (1 - novel) * float(one.ratio(z)[0])
        of_species = sum(w for name, w in weight.items() if name != "other:x") / sum(weight.values())
        assert found[i] == pytest.approx(1 - of_species / (1 + odds))


def test_leaving_a_class_out_changes_nothing_for_the_others() -> None:
    one = classifier()
    x = np.random.default_rng(5).random((2, 4))
    assert other_left_out(one, x, ["a", "b"])[1] == pytest.approx(other_left_out(one, x[1:], ["b"])[0])


class Eyes:
    """Looks at photos that were opened by name; remembers which."""

    def __init__(self, found: dict[str, Array]) -> None:
        self.found, self.seen = found, list[str]()

    def features(self, photo: str) -> Array:
        self.seen.append(photo)
        return self.found[photo]


def test_skew_is_looked_for_on_photos_spread_over_all(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("training.gate.judge.open_photo", lambda file: file.name)
    photos = [LabelledPhoto(Path(f"{i}.jpg"), str(i), "a", "g", True, "made up", "us", "ours") for i in range(22)]
    x = np.arange(44.0).reshape(22, 2)
    eyes = Eyes({f"{i}.jpg": x[i].copy() for i in range(22)})
    assert skew_of(photos, x, eyes) == 0.0  # type: ignore[arg-type]
    assert eyes.seen == [f"{i}.jpg" for i in (0, 3, 6, 9, 12, 15, 18, 21)]
    eyes.found["21.jpg"] = x[21] - [0.25, -0.5]
    assert skew_of(photos, x, eyes) == 0.5  # type: ignore[arg-type]
    few = Eyes(eyes.found)
    assert skew_of(photos, x, few, most=2) == 0.5 and few.seen == ["0.jpg", "21.jpg"]  # type: ignore[arg-type]
    two = Eyes(eyes.found)
    assert skew_of(photos[:2], x[:2], two) == 0.0 and two.seen == ["0.jpg", "1.jpg"]  # type: ignore[arg-type]


def verdict(decision: str, *failed: str) -> Verdict:
    rules = tuple(Rule(name, False, 1.0, "one") for name in failed)
    return Verdict(decision, STARTER, "new", 50, 20, rules)  # type: ignore[arg-type]


def unsound(*failed: str) -> Verdict:
    return replace(verdict("keep"), rules=tuple(Rule(name, False, 1.0, "one", always=True) for name in failed))


@pytest.fixture
def promoting(tmp_path: Path) -> tuple[Registry, Path]:
    """No model yet, and the folder of a new one."""
    return Registry(tmp_path / "models"), model(tmp_path / "new", "new")


def test_a_model_that_is_turned_down_is_kept_aside_with_the_commands_to_activate_it(
    promoting: tuple[Registry, Path],
) -> None:
    registry, source = promoting
    kept = promote(registry, source, verdict("cannot_tell"))
    (name,) = registry.names()
    command = f"swardkey models use {name} --by NAME --because REASON"
    assert kept.says == (
        f"cannot tell which is better; keep the old model: {STARTER} stays active. The new one is kept, but not "
        f"active; to activate it: {command}, or train again with swardkey train --by NAME --because REASON"
    )
    assert (kept.in_charge, kept.changed, kept.new) == (STARTER, False, name)
    (entry,) = registry.history()
    assert (entry["action"], entry["model"], entry["instead_of"]) == ("keep", name, STARTER)
    assert entry["verdict"]["decision"] == "cannot_tell" and registry.in_charge().name == STARTER
    assert [one.turned_down for one in registry.installed()] == [False, True]
    with pytest.raises(ModelError, match="was turned down when it was trained; to activate it all the same: swardkey"):
        registry.use(name)
    assert registry.in_charge().name == STARTER
    registry.use(name, "override", override={"by": "Kim", "reason": "seen"})
    assert registry.in_charge().name == name and not registry.installed()[1].turned_down
    registry.undo()
    assert registry.use(name).name == name, "once it was activated, it is a model as others are"


def test_a_model_that_loses_is_kept_aside_too_and_a_word_given_beforehand_does_not_cover_that(
    promoting: tuple[Registry, Path],
) -> None:
    registry, source = promoting
    for override in (None, Override("Kim", "before the figures were known")):
        kept = promote(registry, source, verdict("keep", "single species"), override)
        assert not kept.changed and registry.in_charge().name == STARTER
        assert "It breaks: single species." in kept.says and f"models use {kept.new} --by NAME" in kept.says
        assert "train again" not in kept.says


def test_a_model_that_is_not_sound_is_not_kept(promoting: tuple[Registry, Path]) -> None:
    registry, source = promoting
    kept = promote(registry, source, unsound("leak"))
    assert kept.says.endswith("it is not kept, because it breaks rules that no one can override: leak")
    assert not kept.changed and kept.new is None and registry.names() == []


def test_models_that_were_turned_down_push_out_no_others(
    promoting: tuple[Registry, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    registry, _ = promoting
    seconds = count()  # of models made at one moment, which a quick machine makes, none is the older
    monkeypatch.setattr(models, "_now", lambda: name_of(datetime(2026, 11, 25) + timedelta(seconds=next(seconds))))
    good = [registry.install(model(tmp_path / f"good {n}", f"good {n}")) for n in range(KEPT)]
    for n in range(KEPT_ASIDE + 2):
        promote(registry, model(tmp_path / f"poor {n}", f"poor {n}"), verdict("cannot_tell"))
    assert set(good) <= set(registry.names()) and len(registry.names()) == KEPT + KEPT_ASIDE


def test_a_promoted_model_is_installed_checked_and_logged(promoting: tuple[Registry, Path]) -> None:
    registry, source = promoting
    checked: list[Path] = []
    done = promote(registry, source, verdict("promote"), check=checked.append)
    assert done.says == f"{done.in_charge} is active now; swardkey models undo takes it back" and done.changed
    assert checked == [registry.folder / done.in_charge, registry.starter], "the new one, and the one that it replaces"
    assert registry.in_charge().name == done.in_charge
    (entry,) = registry.history()
    assert entry["action"] == "promote" and "override" not in entry and entry["verdict"]["photos"] == 50


def test_a_person_decides_only_where_the_gate_cannot_tell(promoting: tuple[Registry, Path]) -> None:
    registry, source = promoting
    word = Override("Kim", "a week on my lawns")
    with pytest.raises(ModelError) as refused:
        promote(registry, source, unsound("leak", "features"), word)
    assert str(refused.value) == f"the new model breaks rules that no one can override: leak, features; keep {STARTER}"
    # Where the gate promotes anyway, nobody's word is written down as what decided.
    plain = promote(registry, source, verdict("promote"), word)
    assert "Kim" not in plain.says and registry.history()[-1]["action"] == "promote"
    assert "override" not in registry.history()[-1]
    registry.undo()
    done = promote(registry, source, verdict("cannot_tell"), word)
    assert "is active now, because Kim says so: a week on my lawns; swardkey models undo" in done.says
    assert registry.history()[-1]["action"] == "override"
    assert registry.history()[-1]["override"] == {"by": "Kim", "reason": "a week on my lawns"}


@pytest.mark.parametrize(("by", "reason"), [(" ", "why"), ("Kim", ""), ("", "")])
def test_an_override_has_a_name_and_a_reason(by: str, reason: str) -> None:
    with pytest.raises(ModelError, match="needs the name of who decides, and a reason; give both"):
        Override(by, reason)


def _unreadable(folder: Path) -> None:
    raise ModelError(f"{folder}: does not describe a model")


@pytest.mark.parametrize(
    ("old", "check", "says"),
    [(STARTER, _unreadable, "does not describe"), ("another", lambda folder: None, "measure the new one again")],
)
def test_nothing_changes_where_it_cannot_be_read_back_or_another_model_was_activated(
    promoting: tuple[Registry, Path], old: str, check: Callable[[Path], None], says: str
) -> None:
    registry, source = promoting
    with pytest.raises(ModelError, match=says):
        promote(registry, source, Verdict("promote", old, "new", 50, 20, ()), check=check)
    assert registry.in_charge().name == STARTER


def test_what_the_starter_brings_is_drawn_from_its_statistics() -> None:
    statistics = Statistics(("a", "b"), np.array([50.0, 50.0]), np.array([[0.0, 0.0], [5.0, 1.0]]), np.eye(2) * 98 * 4)
    x, labels = simulate(statistics, ["b"], 4000, 1)
    assert labels == ["b"] * 4000 and x.shape == (4000, 2)
    assert x.mean(axis=0) == pytest.approx([5.0, 1.0], abs=0.15)
    assert np.cov(x.T) == pytest.approx(np.eye(2) * 4, abs=0.3)
    assert np.array_equal(x, simulate(statistics, ["b"], 4000, 1)[0])


def test_only_species_that_all_three_know_are_drawn() -> None:
    one, less = classifier(), classifier(("a", "b", "other:x"))
    x, empty = np.eye(4)[:2], Part()
    origin = Origin(empty, empty, 0, (), (), "v", "v", 0.0)
    whole = HeldOut(
        ("a", "b"), ("g", "h"), judge("o", less, x, ["a", "b"]), judge("n", one, x, ["a", "b"]), None, origin
    )
    brought = with_simulated(whole, less, one, one.statistics, 5).simulated
    assert brought is not None and brought.labels == ("a",) * 5 + ("b",) * 5
    assert (brought.old.name, brought.new.name) == ("o", "n") and len(set(brought.groups)) == 10
    other = Statistics(("z",), np.array([3.0]), np.zeros((1, 4)), np.eye(4))
    assert with_simulated(whole, less, one, other, 5).simulated is None
