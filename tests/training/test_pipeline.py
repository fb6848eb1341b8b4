"""The steps of a training in their order, no photo in two of them, and the card of what came of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from model.errors import CollectionError, ModelError
from model.photo import Calibration, Classifier, fit_statistics
from model.photo.saved import STARTER, read_model, save_model
from training.data.dataset import Data
from training.data.manifest import LabelledPhoto
from training.evaluate.card import card
from training.gate import load_rules
from training.gate.incumbent import NETWORK_LEARNED, Incumbent
from training.gate.judge import judge
from training.head.conformal import save_sets
from training.head.fit import Learned
from training.recipes.pipeline import STEPS, Pipeline, StepError, need
from training.registry.models import Registry

RULES = load_rules()
SPECIES = ("poa_annua", "trifolium_repens", "other:path")
PARTS = {"fit": 90, "calibrate": 60, "conformal": 120, "held_out": 150}


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Data:
    """Photos in groups of two whose features, of the real size, are made up."""
    folder, random = tmp_path_factory.mktemp("photos"), np.random.default_rng(2)
    centres, photos, parts = random.uniform(0.2, 0.8, (3, 1280)), [], []
    for part, count in PARTS.items():
        for i in range(count):
            file = folder / f"{part} {i}.jpg"
            file.write_bytes(file.name.encode())
            licence = "CC BY" if i % 9 else "CC0"
            photos.append(
                LabelledPhoto(file, file.name, SPECIES[i // 2 % 3], f"{part} {i // 2}", True, "s", "", licence)
            )
            parts.append(part)
    x = centres[[SPECIES.index(photo.label) for photo in photos]] + random.normal(0, 0.3, (len(photos), 1280))
    return Data(x, tuple(photos), np.array(parts))


@pytest.fixture(scope="module")
def learned(data: Data) -> Learned:
    fit, calibration = data.part("fit"), Calibration(0.5, 20.0, (0.0, 0.5, 2.0, 0.5), 0.02, 0.5)
    statistics = fit_statistics(fit.x, fit.labels)
    return Learned(Classifier(statistics, calibration), statistics, 0.3, 60)


@pytest.fixture(scope="module")
def stages(data: Data, learned: Learned) -> list[Pipeline]:
    """A training after no step, after fit, and so on until it is measured."""
    one = learned.classifier
    found = [Pipeline(), Pipeline().fit(one.statistics.classes, data.part("fit"))]
    found.append(found[-1].calibrate(data.part("calibrate")))
    found.append(found[-1].conformalize(one, data.part("conformal"), RULES))
    found.append(found[-1].measure(one, data.part("held_out"), draws=20))
    return found


def test_in_order_every_step_is_done_once(stages: list[Pipeline]) -> None:
    work = stages[-1]
    assert work.done == STEPS[:-1] and work.species == SPECIES[:2] and work.sets is not None
    assert work.measured is not None and work.measured.photos == PARTS["held_out"]
    assert work.evaluation is not None and work.evaluation.sets is not None and stages[0].measured is None
    for number, step in enumerate(STEPS):
        need(step, STEPS[:number])


OUT_OF_ORDER: list[tuple[int, Callable[[Pipeline, Data, Any], object], str]] = [
    (0, lambda work, data, one: work.calibrate(data), "cannot calibrate yet: fit is missing"),
    (0, lambda work, data, one: work.measure(one, data), "cannot measure yet: fit is missing"),
    (1, lambda work, data, one: work.conformalize(one, data, RULES), "cannot conformalize yet: calibrate is missing"),
    (2, lambda work, data, one: work.measure(one, data), "cannot measure yet: conformalize is missing"),
    (3, lambda work, data, one: work.promote(None, Path(), None, RULES), "cannot promote yet: measure is missing"),  # type: ignore[arg-type]
    (3, lambda work, data, one: work.evidence(Path(), one, one, data, 0, 0), "cannot promote yet: measure is missing"),
    (3, lambda work, data, one: card("", work, one, one, data.photos), "cannot promote yet: measure is missing"),
]


@pytest.mark.parametrize(("done", "attempt", "says"), OUT_OF_ORDER)
def test_every_step_out_of_order_names_the_one_that_is_missing(
    stages: list[Pipeline], data: Data, done: int, attempt: Callable[[Pipeline, Data, Any], object], says: str
) -> None:
    with pytest.raises(StepError, match=says):
        attempt(stages[done], data, None)


def test_a_photo_or_group_that_is_used_by_two_steps_is_named(stages: list[Pipeline], data: Data) -> None:
    fit, check = data.part("fit"), data.part("calibrate")
    grouped = replace(check, photos=tuple(replace(photo, group="fit 3") for photo in check.photos))
    with pytest.raises(CollectionError, match="group 'fit 3' is used by both fit and calibrate"):
        stages[1].calibrate(grouped)
    renamed = replace(fit, photos=tuple(replace(photo, group="another") for photo in fit.photos))
    with pytest.raises(CollectionError, match=r"the photo with sha256 [0-9a-f]{12} is used by both fit and calibrate"):
        stages[1].calibrate(renamed)


def test_a_step_done_again_undoes_what_came_after(stages: list[Pipeline], data: Data, learned: Learned) -> None:
    again = stages[-1].calibrate(data.part("calibrate"))
    assert again.done == ("fit", "calibrate")
    with pytest.raises(StepError, match="conformalize is missing"):
        again.measure(learned.classifier, data.part("held_out"))


def test_a_model_is_promoted_with_the_sets_of_its_training_alone(
    stages: list[Pipeline], data: Data, learned: Learned, tmp_path: Path
) -> None:
    """A real model folder, the starter as the active model."""
    work, one, held, candidate = stages[-1], learned.classifier, data.part("held_out"), tmp_path / "candidate"
    save_model(candidate, one.statistics, one.calibration, {}, "# Card\n")
    registry = Registry(tmp_path / "models")
    old = judge("starter", Classifier(*read_model(STARTER)), held.x, held.labels)
    new = judge("new", one, held.x, held.labels)
    held_out = work.evidence(candidate, old, new, held, 0, 0.0)
    with pytest.raises(ModelError, match="does not hold the sets of this training"):
        work.promote(registry, candidate, held_out, RULES)
    assert work.sets is not None
    save_sets(candidate, work.sets)
    # Against the starter, eleven species would be gone: the gate keeps them.
    kept = work.promote(registry, candidate, held_out, RULES)
    assert not kept.changed and "species" in {rule.name for rule in kept.verdict.failed}
    # Against itself it is as good.
    done = work.promote(registry, candidate, replace(held_out, old=replace(new, name="starter")), RULES)
    assert done.changed and registry.in_charge().name == done.in_charge, str(done.verdict)
    assert (registry.folder / done.in_charge / "conformal.json").exists()


def test_photos_that_the_active_network_was_tuned_on_are_left_away(data: Data, learned: Learned) -> None:
    held = [photo.sha256 for photo in data.part("held_out").photos]
    left = Incumbent("m", learned.classifier, {NETWORK_LEARNED: held[1:]}).unseen(data)
    assert [photo.sha256 for photo in left.part("held_out").photos] == held[:1]
    assert len(left.part("fit").photos) == PARTS["fit"]
    assert Incumbent("m", learned.classifier, {}).unseen(data) is data
    with pytest.raises(ModelError, match="has seen all held-out photos; train with --recipe full"):
        Incumbent("m", learned.classifier, {NETWORK_LEARNED: held}).unseen(data)


def test_the_card_gives_figures_and_each_class_for_people_and_programs(
    stages: list[Pipeline], data: Data, learned: Learned
) -> None:
    work = stages[-1]
    assert work.evaluation is not None
    figures = replace(
        work.evaluation.figures, photos=100, groups=40, top1=0.8125, top3=0.95, balanced_top1=0.79, nll=0.654,
        ece=0.031, ece_null=0.05, per_class={"poa_annua": 0.75, "other": 0.5},
    )  # fmt: skip
    work = replace(work, evaluation=replace(work.evaluation, figures=figures, by_source={}))
    photos = [*data.photos, replace(data.photos[0], group_known=False)]
    photos += [replace(data.photos[0], source=f"https://open.example/{n}", creator="Lee") for n in range(3)]
    text = card("# Card", work, learned.classifier, learned, photos, auroc={"poa_annua": 0.875}, notes="# Notes")
    head, body = text.removeprefix("---\n").split("\n---\n")
    found, lines = yaml.safe_load(head), body.splitlines()
    assert found["species"] == list(SPECIES[:2]) and found["other"] == ["path"]
    assert found["parts"]["fit"] == {"photos": 90, "groups": 45}
    assert found["sources"] == {
        "open.example": {"photos": 3, "licences": ["CC0"]},
        "s": {"photos": len(photos) - 3, "licences": ["CC BY", "CC0"]},
    }
    assert found["credits"]["CC0"]["Lee"] == 3 and "Lee (3)" in body
    assert found["held_out"]["nll"] == 0.654 and found["sets"]["level"] == 0.95
    assert lines[0] == "# Card" and lines[-1] == "# Notes"
    assert f"| s | CC0 | {sum(i % 9 == 0 for n in PARTS.values() for i in range(n))} | known |" in lines
    assert "| s | CC0 | 1 | not known: split by photo |" in lines
    assert any("fit 90 (45 groups), calibrate 60 (30 groups)" in line for line in lines)
    assert "| all | 100 | 40 | 0.812 | 0.790 | 0.950 | 0.654 | 0.031 | 0.050 |" in lines
    assert "| poa_annua | 30 | 0.750 | 0.875 |" in lines and "| trifolium_repens | 30 | - | - |" in lines
    assert "| other:path | 30 | 0.500 (all of `other`) | - |" in lines
    assert "Calibration is within chance." in lines
    assert "temperature 20.00" in body and "of classes left out 2.000 +- 0.500" in body
    off = card("", work, learned.classifier, learned, photos, {"field": replace(figures, ece=0.06)})
    assert "Calibration is off, by more than chance, on: field." in off
