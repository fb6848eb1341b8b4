"""Make the starter model from a folder of photos: ``python -m training.recipes.starter PHOTOS OUT``.

Steps, in order: features, split by group, shrinkage, head, temperature and novelty, floor,
dependence, and last the measurement on held-out groups, which no earlier step has seen.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.errors import SwardkeyError
from model.photo import Calibration, Classifier, Discriminant, Statistics, fit_statistics
from model.photo.saved import save_model
from training.data.dataset import Data
from training.data.features import features_of
from training.data.manifest import read_manifest
from training.data.split import PARTS, split
from training.evaluate.card import ADAPTATION, card
from training.evaluate.measure import Measurement, measure
from training.gate.rules import load_rules
from training.head.calibrate import fit_dependence, fit_floor, fit_novelty, fit_temperature
from training.head.conformal import LacSets, conformalize, save_sets
from training.head.novelty import auroc_by_class, strangeness_left_out
from training.head.scatter import choose_spread
from training.recipes.recipe import Recipe, load_recipe

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Trained:
    """A classifier with the account of how it came about."""

    classifier: Classifier
    account: dict[str, Any]


def gather(folder: Path, recipe: Recipe, cache: Path | None) -> Data:
    """Read the manifest, compute features, deal groups to parts. Unreadable photos are named and left out."""
    photos = read_manifest(folder)
    x, notes = features_of(photos, cache, _progress)
    for note in notes:
        if note:
            sys.stderr.write(f"left out: {note}\n")
    readable = np.asarray(~np.isnan(x).any(axis=1))
    parts = np.array(split(photos, recipe.shares, recipe.seed))
    return Data(x, tuple(photos), parts).where(readable)


def train(data: Data, recipe: Recipe) -> Trained:
    """Fit on the fit part and calibrate on the calibrate part; nothing else is looked at."""
    learn, check = data.part("fit"), data.part("calibrate")
    nothing = Statistics.empty(learn.x.shape[1])
    chosen = choose_spread(
        nothing, learn.x, learn.labels, learn.groups, [1.0], recipe.shrinkage, recipe.folds, recipe.seed
    )
    shrinkage = chosen.shrinkage
    statistics = fit_statistics(learn.x, learn.labels)
    calibration = _calibrate(statistics, learn, check, shrinkage, recipe)
    classifier = Classifier(statistics, calibration)
    account = {
        "photos_by_part": {part: int((data.parts == part).sum()) for part in PARTS},
        "groups_by_part": {part: len(set(data.part(part).groups)) for part in PARTS},
        "balanced_accuracy_by_shrinkage": {str(k): round(v, 4) for (_, k), v in chosen.tried.items()},
    }
    return Trained(classifier, account)


def _calibrate(statistics: Statistics, learn: Data, check: Data, shrinkage: float, recipe: Recipe) -> Calibration:
    head = Discriminant(statistics, shrinkage)
    columns = np.array([statistics.classes.index(label) for label in check.labels])
    temperature = fit_temperature(head.scores(check.x), columns)
    calibration = Calibration(shrinkage, temperature, (0.0, 1.0, 0.0, 1.0), 0.0, 1.0)
    known = Classifier(statistics, calibration).strangeness(check.x)
    novel = strangeness_left_out(calibration, (learn.x, learn.labels), (check.x, check.labels))
    # Photos taken in the field, whose groups are known, are the kind that people will send; seedlings
    # on gravel are alike, left out or not, and would make every field photo seem half strange.
    honest = np.array([p.group_known for p in check.photos])
    honest_labels = [label for label, h in zip(check.labels, honest, strict=True) if h]
    calibration = replace(calibration, novelty=fit_novelty(known[honest], novel[honest], honest_labels))
    warm = Classifier(statistics, calibration)
    probabilities, truth = warm.probabilities(check.x), check.truth(warm.species)
    floor = fit_floor(probabilities, truth, recipe.least_floor)
    # Likewise only known groups can tell how alike the photos of one group are.
    groups = [g for g, h in zip(check.groups, honest, strict=True) if h]
    dependence, _ = fit_dependence(probabilities[honest], truth[honest], groups)
    return replace(calibration, floor=floor, dependence=dependence)


def measure_by_source(trained: Trained, data: Data, recipe: Recipe) -> dict[str, Measurement]:
    """Measurements on the held-out part: all, sources with known groups, and each source."""
    held_out = data.part("held_out")
    kinds = {"all": np.ones(len(held_out.photos), dtype=bool)}
    kinds["groups known"] = np.array([p.group_known for p in held_out.photos])
    for source in sorted({p.source for p in held_out.photos}):
        kinds[source] = np.array([p.source == source for p in held_out.photos])
    return {name: _measure(trained, held_out.where(keep), recipe) for name, keep in kinds.items() if keep.any()}


def _measure(trained: Trained, data: Data, recipe: Recipe) -> Measurement:
    species = trained.classifier.species
    probabilities = trained.classifier.probabilities(data.x)
    return measure(probabilities, data.truth(species), [*species, "other"], data.groups, recipe.null_draws, recipe.seed)


def sets_of(trained: Trained, data: Data) -> LacSets:
    """Sets of names that hold the right one as often as they promise, fitted on the conformal part."""
    part, classifier, rules = data.part("conformal"), trained.classifier, load_rules()
    names = (*classifier.species, "other")
    said = classifier.probabilities(part.x)
    truth = part.truth(classifier.species)
    return conformalize(said, truth, rules.coverage.value, names, part.groups, rules.own_threshold.value)


def novelty_auroc(trained: Trained, data: Data) -> dict[str, float]:
    """How well strangeness tells a class that was left out, by class, on held-out photos."""
    learn, held_out = data.part("fit"), data.part("held_out")
    known = trained.classifier.strangeness(held_out.x)
    fit, judged = (learn.x, learn.labels), (held_out.x, held_out.labels)
    novel = strangeness_left_out(trained.classifier.calibration, fit, judged)
    return auroc_by_class(known, novel, held_out.labels)


def _progress(done: int, of: int) -> None:
    if done % 200 == 0 or done == of:
        sys.stderr.write(f"\rfeatures {done} of {of}" + ("\n" if done == of else ""))
        sys.stderr.flush()


def main(arguments: list[str]) -> int:
    """PHOTOS OUT [CACHE]: train, measure, write the model folder, print the card."""
    if len(arguments) not in (2, 3):
        sys.stderr.write("usage: python -m training.recipes.starter PHOTOS OUT [CACHE]\n")
        return 2
    folder, out = Path(arguments[0]), Path(arguments[1])
    try:
        recipe = load_recipe("quick")
        data = gather(folder, recipe, Path(arguments[2]) if len(arguments) == 3 else None)
        trained = train(data, recipe)
        measured = measure_by_source(trained, data, recipe)
        told = out / ADAPTATION
        adaptation = told.read_text(encoding="utf-8") if told.exists() else ""
        novelty = novelty_auroc(trained, data)
        text = card(trained.classifier, trained.account, measured, novelty, data.photos, adaptation)
    except SwardkeyError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    effective = {"recipe": recipe.model_dump(), "account": trained.account}
    save_model(out, trained.classifier.statistics, trained.classifier.calibration, effective, text)
    save_sets(out, sets_of(trained, data))
    print(text)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
