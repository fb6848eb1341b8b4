"""What the gate reads of models and photos, and what promoting writes down; small made-up models."""

from __future__ import annotations

import importlib
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from model.errors import ModelError
from model.photo import Classifier
from model.photo.evidence import Calibration
from model.photo.extract import RECIPE
from model.photo.head import Statistics
from tests.training.test_registry import model
from training.data.manifest import LabelledPhoto
from training.gate import Override, Rule, Verdict, promote
from training.gate.judge import classes_of, judge_classifier, other_left_out, skew_of, views_of, views_served
from training.gate.leak import near_duplicates, outline, outlines
from training.registry.models import STARTER, Registry

# The packages export functions of the same names.
judging = importlib.import_module("training.gate.judge")
leaking = importlib.import_module("training.gate.leak")
Array = NDArray[np.float64]
CLASSES = ("a", "b", "c", "other:x")


def classifier(classes: tuple[str, ...] = CLASSES) -> Classifier:
    """One class on each axis, three photos of each, the same spread everywhere."""
    means = np.eye(4)[[CLASSES.index(name) for name in classes]]
    statistics = Statistics(classes, np.full(len(classes), 3.0), means, np.eye(4))
    return Classifier(statistics, Calibration(0.5, 2.0, (0.0, 0.5, 1.5, 0.6), 0.02, 0.5))


def test_a_model_in_memory_is_judged_by_what_it_says() -> None:
    one = classifier()
    x, golden = np.random.default_rng(1).random((3, 4)), np.random.default_rng(2).random((2, 4))
    judged = judge_classifier("mine", one, x, ["a", "b", "other:x"], golden)
    assert (judged.name, judged.species) == ("mine", ("a", "b", "c"))
    assert np.array_equal(judged.probabilities, one.probabilities(x))
    assert judged.golden is not None and np.array_equal(judged.golden, one.probabilities(golden))
    assert judged.other_left_out is not None
    assert np.array_equal(judged.other_left_out, other_left_out(one, x, ["a", "b", "other:x"]))
    assert judge_classifier("mine", one, x, ["a"] * 3).golden is None


def test_a_saved_model_is_judged_as_it_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[Path] = []
    one, x = classifier(), np.random.default_rng(1).random((2, 4))
    monkeypatch.setattr(judging, "read_classifier", lambda folder: read.append(folder) or one)
    judged = judging.judge("mine", Path("folder"), x, ["a", "b"], x)
    assert read == [Path("folder")] and judged.name == "mine" and judged.golden is not None
    assert np.array_equal(judged.probabilities, one.probabilities(x)) and judged.other_left_out is not None
    assert judging.judge("mine", Path("folder"), x, ["a", "b"]).golden is None


def strangeness_without(x: Array, row: int) -> float:
    """Worked out from the covariance, an eighth of the identity (4 axes of scatter 1, 12 photos, 4 classes)."""
    means = np.delete(np.eye(4), row, axis=0)
    squares = ((x - means) ** 2).sum(axis=1) * 8.0
    nearest = squares.min() - 4.0 / 3.0  # four directions, each mean of three photos off by a third
    off, between = x - means.mean(axis=0), means - means.mean(axis=0)
    at_large = off @ np.linalg.inv(np.eye(4) / 8.0 + between.T @ between / 3.0) @ off
    return float(np.log(nearest) - 0.98 * np.log(at_large))


def test_p_other_without_the_own_class_is_what_the_formula_gives() -> None:
    """Step by step for each photo: the own class gone, the closed world of the rest, and odds from strangeness."""
    one = classifier()
    x = np.array([[0.9, 0.1, 0.0, 0.2], [0.1, 0.2, 0.6, 0.1], [0.3, 0.0, 0.2, 0.9], [0.5, 0.5, 0.0, 0.0]])
    labels = ["a", "c", "other:x", "unheard of"]
    found = other_left_out(one, x, labels)
    assert np.isnan(found).tolist() == [False, False, False, True]
    prior = {"a": 1.0, "b": 1.0, "c": 1.0, "other:x": 0.5}
    for i, label in enumerate(labels[:3]):
        distances = one.distances(x[i : i + 1])[0]
        weight = {
            name: prior[name] * np.exp(-distances[n] / 4.0) for n, name in enumerate(CLASSES) if name != label
        }  # half of the distance, over a temperature of 2
        z = np.array([strangeness_without(x[i], CLASSES.index(label))])
        novel = 0.125  # half of the quarter that four names, three species and other, have each
        odds = novel / (1 - novel) * float(one.ratio(z)[0])
        of_species = sum(w for name, w in weight.items() if name != "other:x") / sum(weight.values())
        assert found[i] == pytest.approx(1 - of_species / (1 + odds))


def test_leaving_a_class_out_changes_nothing_for_the_others() -> None:
    one = classifier()
    x = np.random.default_rng(5).random((2, 4))
    assert other_left_out(one, x, ["a", "b"])[1] == pytest.approx(other_left_out(one, x[1:], ["b"])[0])


def description(folder: Path, **changed: Any) -> Path:
    """The folder of a model that describes itself as the shipped one does, but for ``changed``."""
    from training.registry.models import STARTER_FOLDER

    told = json.loads((STARTER_FOLDER / "model.json").read_text(encoding="utf-8"))
    folder.mkdir()
    (folder / "model.json").write_text(json.dumps({**told, **changed}), encoding="utf-8")
    return folder


def test_what_a_folder_says_of_its_classes_and_views(tmp_path: Path) -> None:
    from training.registry.models import STARTER_FOLDER

    told = json.loads((STARTER_FOLDER / "model.json").read_text(encoding="utf-8"))
    folder = description(tmp_path / "m", features="made otherwise")
    assert classes_of(folder) == tuple(told["classes"]) and views_of(folder) == "made otherwise"
    assert views_served() == RECIPE
    says = "does not describe a model; use another"
    with pytest.raises(ModelError) as lost:
        classes_of(tmp_path / "nowhere")
    assert str(lost.value) == f"{tmp_path / 'nowhere' / 'model.json'}: {says}"
    (folder / "model.json").write_text("{}")
    with pytest.raises(ModelError) as empty:
        views_of(folder)
    assert str(empty.value) == f"{folder / 'model.json'}: {says}"


class Eyes:
    """Looks at photos that were opened by name; remembers which."""

    def __init__(self, found: dict[str, Array]) -> None:
        self.found, self.seen = found, list[str]()

    def features(self, photo: str) -> Array:
        self.seen.append(photo)
        return self.found[photo]


def test_skew_is_looked_for_on_photos_spread_over_all(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(judging, "open_photo", lambda file: file.name)
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


# -- photos that look the same ------------------------------------------------------------------


def test_an_outline_tells_what_is_lighter_than_its_left_neighbour(monkeypatch: pytest.MonkeyPatch) -> None:
    grey = np.tile(np.array([0, 255, 255, 254, 1, 2, 0, 255, 0], dtype=np.uint8), (8, 1))
    asked: list[Path] = []

    class Sandbox:
        def grey(self, file: Path) -> NDArray[np.uint8]:
            asked.append(file)
            return grey

    monkeypatch.setattr(leaking, "the_sandbox", Sandbox)
    found = outline(Path("one.jpg"))
    assert found.dtype == np.uint8 and found.shape == (64,) and asked == [Path("one.jpg")]
    assert found[:8].tolist() == [1, 0, 0, 0, 1, 0, 1, 0]
    two = outlines([Path("one.jpg"), Path("two.jpg")])
    assert two.shape == (2, 64) and np.array_equal(two[1], found)
    none = outlines([])
    assert none.shape == (0, 64) and none.dtype == np.uint8


def test_near_duplicates_at_their_limits_and_in_more_than_one_chunk(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(leaking, "CHUNK", 2)
    learned = np.zeros((2, 64), dtype=np.uint8)
    learned[1] = 1
    x = np.array([[2.0, 0.0], [0.0, 5.0]])
    marks = np.zeros((5, 64), dtype=np.uint8)
    marks[0, :6] = 1  # six bits differ
    marks[1, :7] = 1  # seven do
    marks[4, :] = 1
    y = np.array([[0.9, np.sqrt(1 - 0.81)], [1.0, 0.0], [0.89, np.sqrt(1 - 0.89**2)], [7.0, 0.0], [3.0, 0.0]])
    # The fifth has the outline of one photo and the features of the other: the same as neither.
    found = near_duplicates((learned, x), (marks, y), 6, 0.9 - 1e-9)
    assert found.tolist() == [True, False, False, True, False]
    assert near_duplicates((learned[:0], x[:0]), (marks, y), 6, 0.9).tolist() == [False] * 5


def test_near_duplicates_are_those_that_counting_finds() -> None:
    random = np.random.default_rng(9)
    one, two = random.integers(0, 2, (5, 64)).astype(np.uint8), random.integers(0, 2, (7, 64)).astype(np.uint8)
    x, y = random.normal(0, 1, (5, 3)), random.normal(0, 3, (7, 3))
    for bits, cosine in ((32, 0.3), (30, 0.0), (34, 0.8)):
        expected = [
            any(
                int((a != b).sum()) <= bits and v @ u / np.linalg.norm(v) / np.linalg.norm(u) >= cosine
                for b, u in zip(one, x, strict=True)
            )
            for a, v in zip(two, y, strict=True)
        ]
        found = near_duplicates((one, x), (two, y), bits, cosine)
        assert found.dtype == bool and found.tolist() == expected and 0 < sum(expected) < 7


# -- promoting ------------------------------------------------------------------------------------


def verdict(decision: str, *failed: str) -> Verdict:
    rules = tuple(Rule(name, False, 1.0, "one") for name in failed)
    return Verdict(decision, STARTER, "new", 50, 20, rules)  # type: ignore[arg-type]


def test_what_was_done_is_told_and_logged(tmp_path: Path) -> None:
    registry, source = Registry(tmp_path / "models"), model(tmp_path / "new", "new")
    kept = promote(registry, source, verdict("cannot_tell"))
    assert kept.says == f"cannot tell which is better; keep the old model: {STARTER} stays active"
    assert (kept.in_charge, kept.changed, kept.verdict) == (STARTER, False, verdict("cannot_tell"))
    (entry,) = registry.history()
    assert (entry["action"], entry["model"], entry["instead_of"]) == ("keep", "new", STARTER)
    assert entry["verdict"]["decision"] == "cannot_tell"
    checked: list[Path] = []
    done = promote(registry, source, verdict("promote"), check=checked.append)
    assert done.says == f"{done.in_charge} is active now; swardkey models undo takes it back"
    assert checked == [registry.folder / done.in_charge] and done.changed and done.verdict.decision == "promote"
    entry = registry.history()[-1]
    assert entry["action"] == "promote" and "override" not in entry and entry["verdict"]["decision"] == "promote"


def test_a_person_decides_only_where_the_gate_cannot_tell(tmp_path: Path) -> None:
    registry, source = Registry(tmp_path / "models"), model(tmp_path / "new", "new")
    word = Override("Kim", "a week on my lawns")
    with pytest.raises(ModelError) as refused:
        promote(registry, source, verdict("keep", "leak", "features"), word)
    assert str(refused.value) == (
        f"the new model breaks rules that no one can override: leak, features; keep {STARTER}"
    )
    # Where the gate promotes anyway, nobody's word is written down as what decided.
    plain = promote(registry, source, verdict("promote"), word)
    assert "Kim" not in plain.says and registry.history()[-1]["action"] == "promote"
    assert "override" not in registry.history()[-1]
    registry.undo()
    told = promote(registry, source, verdict("cannot_tell"), word)
    assert told.says == (
        f"{told.in_charge} is active now, because Kim says so: a week on my lawns; swardkey models undo takes it back"
    )
    assert [entry["action"] for entry in registry.history()][-1] == "override"
    assert registry.history()[-1]["override"] == {"by": "Kim", "reason": "a week on my lawns"}


@pytest.mark.parametrize(("by", "reason"), [(" ", "why"), ("Kim", ""), ("", "")])
def test_an_override_has_a_name_and_a_reason(by: str, reason: str) -> None:
    with pytest.raises(ModelError) as told:
        Override(by, reason)
    assert str(told.value) == "an override needs the name of who decides, and a reason; give both"


def test_nothing_changes_where_another_model_came_into_charge(tmp_path: Path) -> None:
    registry, source = Registry(tmp_path / "models"), model(tmp_path / "new", "new")
    with pytest.raises(ModelError):
        promote(registry, source, replace(verdict("promote"), old="another"))
    assert registry.in_charge().name == STARTER
