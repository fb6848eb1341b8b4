"""Cross-fitting: each of one's own photos is scored by a head that was fitted without its group, so that all calibrate.

Calibrated on a head of fewer photos than the one that is used, probabilities come out too low: with 35 photos a
species, ECE was 0.17 where 15 % of the photos had been set aside, and is 0.03 to 0.07 with ten folds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.photo.evidence import Calibration, Classifier
from model.photo.head import Statistics, fit_statistics
from training.data.dataset import Data
from training.data.split import grouped_folds
from training.head.scatter import join

Array = NDArray[np.float64]


@dataclass(frozen=True)
class CrossFitted:
    """Photos, and what heads say of them that have not learned from them; ``whole`` is the classifier of them all.

    ``scores``: ln density of each class up to a constant, float (photos, classes), -inf of a class that the head of the
    fold has not learned. ``novelty``: novelty scores, float (photos,).
    """

    whole: Classifier
    data: Data
    scores: Array
    novelty: Array

    @property
    def columns(self) -> NDArray[np.int64]:
        """The column of each photo's own class."""
        return np.array([self.whole.statistics.classes.index(label) for label in self.data.labels], dtype=np.int64)

    def probabilities(self, calibration: Calibration) -> Array:
        """Calibrated probabilities, float (photos, species + 1), last is other; of a class not learned 0."""
        calibrated = self.whole.calibrated(calibration)
        return calibrated.with_other(calibrated.logs_of(self.scores), self.novelty)


def cross_fit(
    whole: Classifier, base: Statistics, weight: float, own: Data, folds: int, seed: int
) -> CrossFitted | None:
    """Judge one's own photos in folds, groups whole, each by a head of the others; None where none could be judged.

    A photo is left out whose class is in no other fold. There is none left where there are too few groups to make
    folds, or a single one of every class. ``base``: the statistics that one starts from, whose scatter counts
    ``weight`` times.
    """
    fold, labels = grouped_folds(own.labels, own.groups, folds, seed), np.array(own.labels)
    scores = np.full((len(labels), len(whole.statistics.classes)), -np.inf)
    novelty = np.full(len(labels), np.nan)
    for number in range(1 + fold.max()) if fold.any() else ():
        others = own.where(fold != number)
        statistics = join(base, fit_statistics(others.x, others.labels), weight)
        rows = np.flatnonzero((fold == number) & np.isin(labels, statistics.classes))
        if len(rows):
            head = whole.with_statistics(statistics)
            columns = np.array([whole.statistics.classes.index(name) for name in statistics.classes])
            scores[np.ix_(rows, columns)] = head.head.scores(own.x[rows])
            novelty[rows] = head.novelty(own.x[rows])
    judged = ~np.isnan(novelty)
    return CrossFitted(whole, own.where(judged), scores[judged], novelty[judged]) if judged.any() else None
