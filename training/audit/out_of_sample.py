"""What the closed-form head says of each photo when neither it nor its plant was learned from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.photo.head import Discriminant, Statistics, fit_statistics, softmax
from training.audit.settings import Labels
from training.data.split import grouped_folds
from training.head.calibrate import class_weights, fit_temperature
from training.head.scatter import join

Array = NDArray[np.float64]
UNSEEN = -1e12  # score of a class that the head of a fold has not learned
LEAST = 1e-9  # probabilities are not let below this, so that ratios of them stay finite


@dataclass(frozen=True)
class OutOfSample:
    """Probabilities of each photo from a head that learned from other groups only.

    ``classes``: names of the columns, those of the photos and those of the background.
    ``given`` int (photos,): column of each photo's label. ``probabilities`` float (photos,
    classes), rows sum to 1, NaN where ``judged`` is False: there the head had learned nothing
    of the photo's own label. ``temperature`` is that of all folds together.
    """

    classes: tuple[str, ...]
    given: NDArray[np.int64]
    probabilities: Array
    judged: NDArray[np.bool_]
    shrinkage: float
    temperature: float

    @property
    def own(self) -> Array:
        """Probability of each photo's given label, float (photos,), NaN where not judged."""
        return np.asarray(self.probabilities[np.arange(len(self.given)), self.given])


def out_of_sample(
    x: Array, labels: Sequence[str], groups: Sequence[str], settings: Labels, background: Statistics | None = None
) -> OutOfSample:
    """Judge every photo by a head that was fitted without its group.

    ``x`` float (photos, features), no NaN. ``background`` are the statistics of photos that are
    not among these, such as the starter's: they stand behind every fold. The temperature of a
    fold is fitted on the held-out scores of the other folds.
    """
    classes = tuple(sorted({*labels, *(background.classes if background else ())}))
    given = np.array([classes.index(label) for label in labels], dtype=np.int64)
    fold = grouped_folds(labels, groups, settings.folds, settings.seed)
    scores = {s: np.full((len(given), len(classes)), UNSEEN) for s in settings.shrinkage}
    for number in np.unique(fold):
        learn, check = np.flatnonzero(fold != number), np.flatnonzero(fold == number)
        statistics = learned(x[learn], [labels[int(i)] for i in learn], background)
        if statistics is None:
            continue
        columns = np.array([classes.index(c) for c in statistics.classes])
        for shrinkage, all_scores in scores.items():
            all_scores[np.ix_(check, columns)] = Discriminant(statistics, shrinkage).scores(x[check])
    judged = np.asarray(next(iter(scores.values()))[np.arange(len(given)), given] > UNSEEN)
    tried = {s: _calibrated(all_scores, given, fold, judged) for s, all_scores in scores.items()}
    best = min(tried, key=lambda s: _loss(tried[s], given, judged))
    temperature = fit_temperature(scores[best][judged], given[judged]) if judged.any() else 1.0
    return OutOfSample(classes, given, tried[best], judged, best, temperature)


def learned(x: Array, labels: Sequence[str], background: Statistics | None) -> Statistics | None:
    """Statistics of these photos and of those in the background; None where there are neither."""
    if not len(labels):
        return background
    own = fit_statistics(x, list(labels))
    return own if background is None else join(background, own, 1.0)


def _calibrated(scores: Array, given: NDArray[np.int64], fold: NDArray[np.int64], judged: NDArray[np.bool_]) -> Array:
    """Probabilities, each fold with the temperature of the others; NaN where not judged."""
    found = np.full(scores.shape, np.nan)
    for number in np.unique(fold):
        here, others = judged & (fold == number), judged & (fold != number)
        if here.any():
            # Where no other fold holds a judged photo, its own serves: one number for a whole fold.
            basis = others if others.any() else here
            found[here] = softmax(scores[here] / fit_temperature(scores[basis], given[basis]))
    found = np.maximum(found, LEAST)
    return np.asarray(found / found.sum(axis=1, keepdims=True))


def _loss(probabilities: Array, given: NDArray[np.int64], judged: NDArray[np.bool_]) -> float:
    if not judged.any():
        return 0.0
    own = probabilities[judged, given[judged]]
    return -float((class_weights(given[judged]) * np.log(own)).sum())
