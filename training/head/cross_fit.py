"""Look at one's own photos by heads that have learned from the others: every photo calibrates, and none itself.

Calibrated on a head of fewer photos than the one that is used, probabilities come out too low: with 35 photos a
species, ECE was 0.17 where 15 % of the photos had been set aside, and is 0.03 to 0.07 with ten folds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.photo import Calibration, Classifier, Statistics, fit_statistics
from training.data.dataset import Data
from training.data.split import grouped_folds
from training.head.scatter import join

Array = NDArray[np.float64]


@dataclass(frozen=True)
class CrossFitted:
    """Photos, and the classifiers of the folds, each with the rows of the photos that it has not learned from.

    ``whole`` is the classifier of all photos. A photo of whose class no other fold has one is in no row.
    """

    whole: Classifier
    data: Data
    folds: tuple[tuple[Classifier, NDArray[np.int64]], ...]

    def scores(self) -> Array:
        """ln density of each class up to a constant, float (photos, classes); of a class not learned -inf."""
        found = np.full((len(self.data.photos), len(self.whole.statistics.classes)), -np.inf)
        for classifier, rows in self.folds:
            columns = np.array([self.whole.statistics.classes.index(name) for name in classifier.statistics.classes])
            found[np.ix_(rows, columns)] = classifier.head.scores(self.data.x[rows])
        return found

    def strangeness(self) -> Array:
        """How strange the photos look to who has not learned from them, float (photos,)."""
        found = np.zeros(len(self.data.photos))
        for classifier, rows in self.folds:
            found[rows] = classifier.strangeness(self.data.x[rows])
        return found

    def probabilities(self, calibration: Calibration) -> Array:
        """Calibrated probabilities, float (photos, species + 1), last is other; of a class not learned 0."""
        species = self.whole.species
        found = np.zeros((len(self.data.photos), len(species) + 1))
        for classifier, rows in self.folds:
            columns = np.array([*(species.index(name) for name in classifier.species), len(species)])
            found[np.ix_(rows, columns)] = classifier.calibrated(calibration).probabilities(self.data.x[rows])
        return found


def cross_fit(
    whole: Classifier, base: Statistics, weight: float, own: Data, folds: int, seed: int
) -> CrossFitted | None:
    """Heads of all but one fold of one's own photos, groups whole; None where no photo could be judged by one.

    That is so where there are too few groups to make folds, or a single one of every class. ``base``: the statistics
    that one starts from, whose scatter counts ``weight`` times.
    """
    labels = np.array(own.labels)
    most = max(int((labels == name).sum()) for name in set(own.labels))
    folds = min(folds, len(set(own.groups)), most)
    if folds < 2:
        return None
    fold, found = grouped_folds(own.labels, own.groups, folds, seed), []
    for number in range(folds):
        others = fold != number
        statistics = join(base, fit_statistics(own.x[others], list(labels[others])), weight)
        rows = np.flatnonzero(~others & np.isin(labels, statistics.classes))
        found.append((Classifier(statistics, whole.calibration), rows))
    used = np.sort(np.concatenate([rows for _, rows in found]))
    if not len(used):
        return None
    keep = np.zeros(len(labels), dtype=bool)
    keep[used] = True
    return CrossFitted(whole, own.where(keep), tuple((one, np.searchsorted(used, rows)) for one, rows in found))
