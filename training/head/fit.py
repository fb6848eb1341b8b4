"""Learn from the user's own photos, starting from the shipped model: quick, exact, nothing is forgotten.

learned = learn(data, base, recipe)        fit and calibrate on the first two parts
learned.grown(data)                        with every photo, once it has been measured
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from model.errors import CollectionError
from model.photo import Calibration, Classifier, Discriminant, Statistics, fit_statistics
from training.data.dataset import Data
from training.data.manifest import LabelledPhoto
from training.head.calibrate import fit_dependence, fit_floor, fit_novelty, fit_temperature, move_novelty
from training.head.scatter import Spread, choose_spread, join
from training.recipes.recipe import Recipe

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Learned:
    """What was learned: the classifier that is measured, the base and the weight of its scatter."""

    classifier: Classifier
    base: Statistics
    spread: Spread
    calibrated_on: int

    def grown(self, data: Data) -> Classifier:
        """The same model with all photos in it, those of the other three parts too.

        An exact update: what was measured can be had back by taking them out again.
        """
        own = fit_statistics(data.x, data.labels)
        return Classifier(join(self.base, own, self.spread.weight), self.classifier.calibration)


def deal(photos: Sequence[LabelledPhoto], parts: Sequence[str]) -> list[str]:
    """The same parts, but with a group of every class in the fit part: a class must be learned to be measured.

    A class whose groups all fell to other parts gives its first group that is not held out,
    else its first. Groups move whole.
    """
    dealt = dict(zip((photo.group for photo in photos), parts, strict=True))
    for label in sorted({photo.label for photo in photos}):
        groups = sorted({photo.group for photo in photos if photo.label == label})
        if all(dealt[group] != "fit" for group in groups):
            moved = next((group for group in groups if dealt[group] != "held_out"), groups[0])
            dealt[moved] = "fit"
    return [dealt[photo.group] for photo in photos]


def learn(data: Data, base: Statistics, calibration: Calibration, recipe: Recipe) -> Learned:
    """Fit on the fit part and calibrate on the calibrate part; nothing else is looked at.

    ``base`` and ``calibration`` are those of the model that one starts from. Where there are
    too few calibration photos to fit novelty, floor and dependence, the base's are kept.
    Raises CollectionError where no class can be learned.
    """
    fit, check = data.part("fit"), data.part("calibrate")
    if not fit.photos:
        raise CollectionError("no photos to learn from; add some with swardkey collect add")
    folds = min(recipe.folds, len(set(fit.groups)))
    if folds < 2:
        spread = Spread(1.0, calibration.shrinkage, {})
    else:
        spread = choose_spread(
            base, fit.x, fit.labels, fit.groups, recipe.base_weights, recipe.shrinkage, folds, recipe.seed
        )
    statistics = join(base, fit_statistics(fit.x, fit.labels), spread.weight)
    start = replace(calibration, shrinkage=spread.shrinkage)
    fitted = _calibrate(statistics, start, base, fit, check, spread.weight, recipe)
    return Learned(Classifier(statistics, fitted), base, spread, len(check.photos))


def _calibrate(
    statistics: Statistics,
    start: Calibration,
    base: Statistics,
    fit: Data,
    check: Data,
    weight: float,
    recipe: Recipe,
) -> Calibration:
    known = np.array([label in statistics.classes for label in check.labels], dtype=bool)
    check = check.where(known)
    if len(check.photos) < recipe.least_calibration_photos:
        return start  # too few to tell: what holds for the base is taken to hold for every class
    columns = np.array([statistics.classes.index(label) for label in check.labels])
    head = Discriminant(statistics, start.shrinkage)
    temperature = fit_temperature(head.scores(check.x), columns)
    calibration = replace(start, temperature=temperature)
    ordinary = Classifier(statistics, calibration).strangeness(check.x)
    left_out = _left_out(base, calibration, fit, check, weight)
    judged = ~np.isnan(left_out)
    novelty = move_novelty(calibration.novelty, ordinary, check.labels)
    if judged.sum() >= recipe.least_calibration_photos:
        labels = [label for label, here in zip(check.labels, judged, strict=True) if here]
        novelty = fit_novelty(ordinary[judged], left_out[judged], labels)
    calibration = replace(calibration, novelty=novelty)
    warm = Classifier(statistics, calibration)
    probabilities, truth = warm.probabilities(check.x), check.truth(warm.species)
    floor = fit_floor(probabilities, truth, recipe.least_floor)
    dependence, several = fit_dependence(probabilities, truth, check.groups)
    return replace(calibration, floor=floor, dependence=dependence if several >= 10 else calibration.dependence)


def _left_out(base: Statistics, calibration: Calibration, fit: Data, check: Data, weight: float) -> Array:
    """Strangeness of calibration photos as if their class had never been learned; NaN where the base has it."""
    found = np.full(len(check.photos), np.nan)
    truth, judged = np.array(fit.labels), np.array(check.labels)
    for name in sorted(set(check.labels) - set(base.classes)):
        here, rest = judged == name, truth != name
        if not rest.any():
            continue
        without = join(base, fit_statistics(fit.x[rest], list(truth[rest])), weight)
        found[here] = Classifier(without, calibration).strangeness(check.x[here])
    return found
