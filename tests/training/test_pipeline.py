"""The steps of a training in their order, and no photo in two of them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import yaml

from model.errors import CollectionError, ModelError
from model.photo import Calibration, Classifier, fit_statistics
from model.photo.saved import STARTER, read_model, save_model
from training.data.manifest import LabelledPhoto
from training.evaluate.front_matter import front_matter
from training.gate import Part, judge, load_rules
from training.recipes.pipeline import Pipeline
from training.recipes.steps import STEPS, StepError, need
from training.registry.models import Registry

RULES = load_rules()
CLASSES = ("a", "b", "other:x")


def part(name: str, count: int = 30) -> Part:
    return Part(tuple(f"{name} {i // 2}" for i in range(count)), tuple(f"{name} photo {i}" for i in range(count)))


def said(count: int = 30) -> tuple[np.ndarray, np.ndarray]:
    random = np.random.default_rng(1)
    truth = random.integers(0, 3, count)
    p = np.full((count, 3), 0.1)
    p[np.arange(count), truth] = 0.8
    return p, truth


def measured() -> Pipeline:
    p, truth = said()
    work = Pipeline().fit(CLASSES, part("fit")).calibrate(part("calibrate"))
    return work.conformalize(p, truth, part("conformal"), RULES).measure(p, truth, part("held out"))


def test_in_order_every_step_is_done_once() -> None:
    work = measured()
    assert work.done == STEPS[:-1] and work.species == ("a", "b")
    assert work.measured is not None and work.measured.photos == 30
    assert work.set_figures is not None and work.set_figures.coverage == 1.0


def test_every_step_out_of_order_names_the_one_that_is_missing(tmp_path: Path) -> None:
    p, truth = said()
    start = Pipeline()
    fitted = start.fit(CLASSES, part("fit"))
    calibrated = fitted.calibrate(part("calibrate"))
    conformal = calibrated.conformalize(p, truth, part("conformal"), RULES)
    tries = [
        (lambda: start.calibrate(part("x")), "cannot calibrate yet: fit is missing"),
        (lambda: start.measure(p, truth, part("x")), "cannot measure yet: fit is missing"),
        (lambda: fitted.conformalize(p, truth, part("x"), RULES), "cannot conformalize yet: calibrate is missing"),
        (lambda: calibrated.measure(p, truth, part("x")), "cannot measure yet: conformalize is missing"),
        (lambda: calibrated.save_sets(tmp_path), "cannot measure yet: conformalize is missing"),
        (lambda: conformal.promote(None, tmp_path, None, RULES), "cannot promote yet: measure is missing"),  # type: ignore[arg-type]
        (lambda: conformal.evidence(tmp_path, None, None, [], 0, 0), "cannot promote yet: measure"),  # type: ignore[arg-type]
    ]
    for attempt, says in tries:
        with pytest.raises(StepError, match=says):
            attempt()
    for number, step in enumerate(STEPS):
        need(step, STEPS[:number])


def test_a_photo_or_group_that_serves_two_steps_is_named() -> None:
    work = Pipeline().fit(CLASSES, part("fit"))
    shared_group = Part(("fit 3",), ("another photo",))
    with pytest.raises(CollectionError, match="group 'fit 3' serves both fit and calibrate"):
        work.calibrate(shared_group)
    shared_photo = Part(("another group",), ("fit photo 3",))
    with pytest.raises(CollectionError, match="sha256 fit photo 3 serves both fit and calibrate"):
        work.calibrate(shared_photo)


def test_a_step_done_again_undoes_what_came_after() -> None:
    again = measured().calibrate(part("calibrate"))
    assert again.done == ("fit", "calibrate")
    with pytest.raises(StepError, match="conformalize is missing"):
        again.measure(*said(), part("held out"))


def test_parts_are_known_by_the_content_of_their_files(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"one")
    (tmp_path / "b.jpg").write_bytes(b"one")
    photos = [LabelledPhoto(tmp_path / n, n, "a", n, False, "", "", "") for n in ("a.jpg", "b.jpg")]
    found = Part.of(photos)
    assert found.groups == ("a.jpg", "b.jpg") and found.sha256[0] == found.sha256[1]
    (tmp_path / "b.jpg").unlink()
    with pytest.raises(CollectionError, match=r"b\.jpg: cannot be read"):
        Part.of(photos)


def test_the_head_of_a_card_is_yaml_that_reads_back(tmp_path: Path) -> None:
    photos = [LabelledPhoto(tmp_path, "n", "a", "g", True, source, "", "CC BY 4.0") for source in ("one", "two", "two")]
    text = front_matter(measured(), photos, {"instead_of": "starter"})
    assert text.startswith("---\n") and text.endswith("\n---\n") and text.count("---\n") == 2
    found = yaml.safe_load(text.strip("-\n"))
    assert found["species"] == ["a", "b"] and found["other"] == ["x"] and found["instead_of"] == "starter"
    assert found["parts"]["fit"] == {"photos": 30, "groups": 15}
    assert found["sources"]["two"] == {"photos": 2, "licences": ["CC BY 4.0"]}
    assert found["held_out"]["photos"] == 30 and found["sets"]["coverage"] == 1.0 and found["rejection"] is None
    with pytest.raises(StepError, match="measure is missing"):
        front_matter(replace(measured(), parts=measured().parts[:-1]), photos)


def test_a_whole_run_from_features_to_a_promoted_folder(tmp_path: Path) -> None:
    """Made-up features of the real size, a real model folder, the starter as the model in charge."""
    random = np.random.default_rng(2)
    species = ("poa_annua", "trifolium_repens", "other:path")
    centres = random.uniform(0.2, 0.8, (3, 1280))
    sizes = {"fit": 90, "calibrate": 60, "conformalize": 120, "measure": 150}
    x, labels, parts = {}, {}, {}
    for step, count in sizes.items():
        truth = np.arange(count) % 3
        x[step] = centres[truth] + random.normal(0, 0.3, (count, 1280))
        labels[step] = [species[t] for t in truth]
        parts[step] = Part(tuple(f"{step} {i}" for i in range(count)), tuple(f"{step} {i}" for i in range(count)))
    statistics = fit_statistics(x["fit"], labels["fit"])
    calibration = Calibration(0.5, 20.0, (0.0, 0.5, 2.0, 0.5), 0.02, 0.5)
    classifier = Classifier(statistics, calibration)

    def truth_of(step: str) -> np.ndarray:
        return np.array([classifier.species.index(s) if s in classifier.species else 2 for s in labels[step]])

    work = Pipeline().fit(statistics.classes, parts["fit"]).calibrate(parts["calibrate"])
    p = classifier.probabilities(x["conformalize"])
    work = work.conformalize(p, truth_of("conformalize"), parts["conformalize"], RULES)
    work = work.measure(classifier.probabilities(x["measure"]), truth_of("measure"), parts["measure"])
    candidate = tmp_path / "candidate"
    save_model(candidate, statistics, calibration, {}, "# Card\n")
    registry = Registry(tmp_path / "models")
    # Sets are those of this training, or nothing is promoted.
    old = judge("starter", STARTER, x["measure"], labels["measure"])
    new = judge("new", candidate, x["measure"], labels["measure"])
    held_out = work.evidence(candidate, old, new, labels["measure"], 0, 0.0)
    with pytest.raises(ModelError, match="does not hold the sets of this training"):
        work.promote(registry, candidate, held_out, RULES)
    work.save_sets(candidate)
    # Against the starter, eleven species would be gone: the gate keeps them.
    kept = work.promote(registry, candidate, held_out, RULES)
    assert not kept.changed and "species" in {rule.name for rule in kept.verdict.failed}
    # Against itself it is as good.
    twin = replace(held_out, old=replace(new, name="starter"))
    done = work.promote(registry, candidate, twin, RULES, check=read_model)
    assert done.changed, str(done.verdict)
    assert registry.in_charge().name == done.in_charge
    assert (registry.folder / done.in_charge / "conformal.json").exists()
