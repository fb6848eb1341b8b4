"""Fit and calibrate the closed-form head on one's own photos, added to what the model one starts from has learned.

learned = learn(data, base, calibration, recipe)    from the fit and the calibrate part
learned.grown(data)                                 with every photo, once it has been measured
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from model.errors import CollectionError
from model.photo import Calibration, Classifier, Statistics, fit_statistics
from training.data.dataset import Data
from training.head.calibrate import calibrate
from training.head.novelty import strangeness_left_out
from training.head.scatter import ScatterChoice, choose_scatter, join
from training.recipes.recipe import Recipe


@dataclass(frozen=True)
class Learned:
    """The classifier, the statistics that it started from, how these were weighed, and the calibration photos used."""

    classifier: Classifier
    base: Statistics
    scatter: ScatterChoice
    calibrated_on: int

    def grown(self, data: Data) -> Classifier:
        """The same model fitted on all of ``data``, with its calibration as it is.

        An exact update: what was measured can be had back by taking the photos out again.
        """
        own = fit_statistics(data.x, data.labels)
        return Classifier(join(self.base, own, self.scatter.weight), self.classifier.calibration)


def learn(
    data: Data, base: Statistics, calibration: Calibration, recipe: Recipe, novelty_of_known_groups: bool = False
) -> Learned:
    """Fit on the fit part and calibrate on the calibrate part; nothing else is looked at.

    ``base`` and ``calibration`` are those of the model that one starts from. Where there are
    too few calibration photos to fit a value, its value is kept. ``novelty_of_known_groups``: fit novelty
    on photos whose group is known alone. Raises CollectionError where there is nothing to fit on.
    """
    fit, check = data.part("fit"), data.part("calibrate")
    if not fit.photos:
        raise CollectionError("no photos to learn from; add some with swardkey collect add")
    folds = min(recipe.folds, len(set(fit.groups)))
    if folds < 2:
        scatter = ScatterChoice(1.0, calibration.shrinkage, {})
    else:
        scatter = choose_scatter(base, fit, recipe.base_weights, recipe.shrinkage, folds, recipe.seed)
    statistics = join(base, fit_statistics(fit.x, fit.labels), scatter.weight)
    start = replace(calibration, shrinkage=scatter.shrinkage)
    known = check.where(np.array([label in statistics.classes for label in check.labels], dtype=bool))
    if len(known.photos) >= recipe.least_calibration_photos:
        left_out = strangeness_left_out(base, scatter.weight, start, fit, known)
        if novelty_of_known_groups:
            left_out[np.array([not photo.group_known for photo in known.photos])] = np.nan
        least, floor = recipe.least_calibration_photos, recipe.least_floor
        start = calibrate(statistics, start, known, left_out, least, floor, no_stricter=bool(base.classes))
    return Learned(Classifier(statistics, start), base, scatter, len(check.photos))
