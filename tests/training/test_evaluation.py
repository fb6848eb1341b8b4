"""A new model is measured on parts that share no photo, judged beside the active one, and described by its card."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import yaml

from model.errors import CollectionError, ModelError
from model.photo.evidence import Calibration, Classifier
from model.photo.head import fit_statistics
from model.photo.saved import STARTER, read_model, save_model
from training.data.dataset import Data
from training.data.manifest import LabelledPhoto
from training.evaluate.card import card
from training.gate import load_rules
from training.gate.incumbent import NETWORK_LEARNED, Incumbent
from training.head.conformal import save_sets
from training.head.fit import Learned
from training.recipes.candidate import Candidate
from training.recipes.evaluation import Evaluation, Rivals, evaluate
from training.recipes.recipe import load_recipe
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
def work(data: Data, learned: Learned) -> Evaluation:
    return evaluated(data, learned)


def evaluated(data: Data, learned: Learned) -> Evaluation:
    one, recipe = learned.classifier, load_recipe("quick").model_copy(update={"null_draws": 20})
    return evaluate(Candidate(one, one, one, ""), data, data.part("conformal"), RULES, recipe)


def test_sets_and_figures_are_of_their_own_parts(work: Evaluation, data: Data) -> None:
    assert work.species == SPECIES[:2] and work.measured.photos == PARTS["held_out"]
    assert sum(cell.photos for cell in work.sets.cells) == PARTS["conformal"]
    assert work.evaluation.sets is not None and work.evaluation.sets.coverage > 0.5
    assert {step: len(part.sha256) for step, part in work.parts.items()} == dict(
        zip(("fit", "calibrate", "conformalize", "measure"), PARTS.values(), strict=True)
    )


@pytest.mark.parametrize("part", ["calibrate", "conformal", "held_out"])
def test_a_photo_or_group_of_two_parts_is_named(data: Data, learned: Learned, part: str) -> None:
    step = {"conformal": "conformalize", "held_out": "measure"}.get(part, part)
    here, first = data.parts == part, data.photos[0]
    grouped = tuple(replace(p, group=first.group) if h else p for p, h in zip(data.photos, here, strict=True))
    with pytest.raises(CollectionError, match=f"group 'fit 0' is used by both fit and {step}"):
        evaluated(replace(data, photos=grouped), learned)
    copied = tuple(replace(p, file=first.file) if h else p for p, h in zip(data.photos, here, strict=True))
    with pytest.raises(CollectionError, match=rf"the photo with sha256 [0-9a-f]{{12}} is used by both fit and {step}"):
        evaluated(replace(data, photos=copied), learned)


def test_without_held_out_or_conformal_photos_nothing_is_measured(data: Data, learned: Learned) -> None:
    for part in ("conformal", "held_out"):
        with pytest.raises(CollectionError, match="too few groups of photos to measure honestly"):
            evaluated(data.where(data.parts != part), learned)


def test_a_model_is_promoted_with_the_sets_of_its_training_alone(
    work: Evaluation, data: Data, learned: Learned, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A real model folder, the starter as the active model."""
    monkeypatch.setattr("training.recipes.evaluation.skew_of", lambda *_: 0.0)
    one, held, candidate = learned.classifier, data.part("held_out"), tmp_path / "candidate"
    save_model(candidate, one.statistics, one.calibration, {}, "# Card\n")
    registry = Registry(tmp_path / "models")
    against = Rivals(("starter", "new"), Classifier(*read_model(STARTER)), held.x, one, held, 0)
    with pytest.raises(ModelError, match="does not hold the sets of this training"):
        work.promote(candidate, against, registry, RULES)
    save_sets(candidate, work.sets)
    # Against the starter, eleven species would be gone: the gate keeps them.
    kept = work.promote(candidate, against, registry, RULES)
    assert not kept.changed and "species" in {rule.name for rule in kept.verdict.failed}
    # Against itself it is as good.
    done = work.promote(candidate, replace(against, active=one), registry, RULES)
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
    work: Evaluation, data: Data, learned: Learned
) -> None:
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
