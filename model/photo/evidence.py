"""Evidence from photos about the species: calibrated probabilities, fused over photos, with a floor."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from model.photo.decode import Photo
from model.photo.head import Background, Discriminant, Statistics, softmax

Array = NDArray[np.float64]
OTHER = "other:"  # head classes of plants outside the flora begin with this
MOST_NOVEL = 1e4
# Of the distance to the background in the novelty score (relative Mahalanobis distance, Ren et al. 2021, has 1).
# Chosen on ImageNet's features. AUROC of 16 classes left out in turn, of the four of them photographed in the field,
# and of what is no plant: 0.82, 0.98, 0.999; with 1: 0.85, 0.89, 0.92, for what is far from everything then looks
# ordinary; with 0: 0.61, 0.95, 1.00. With the shipped network's, of classes that it never learned: 0.84, 0.94, 0.99.
POWER = 0.98
# Of the covariances behind it, whatever the head's own is: novelty then means the same in every model that
# has grown from the starter, and what the starter has fitted holds where there is too little to fit it anew.
NOVELTY_SHRINKAGE = 0.05
LEAST_DISTANCE = 1e-9
# Novelty ratio from which the user is warned: 3 % of field photos of learned classes, 40 % of those of classes
# never learned, and 90 % of what is no plant (tests/claims/strange.py).
UNLIKE = 5.0
STRANGE = "unlike every plant that the photo model has learned; it may be another plant, or none"  # a note on a photo


@dataclass(frozen=True)
class Calibration:
    """Numbers fitted on calibration photos, never on the photos that the head learned from.

    ``shrinkage`` of the covariance; ``temperature`` divides the scores; ``novelty`` are mean and
    standard deviation of novelty for classes that were learned, then for classes that were left out.
    ``floor`` is the share of a photo's evidence that is even over all classes;
    ``dependence`` in 0-1: m photos of one plant count as m ** (1 - dependence).
    """

    shrinkage: float
    temperature: float
    novelty: tuple[float, float, float, float]
    floor: float
    dependence: float


@dataclass(frozen=True)
class Evidence:
    """Evidence from the photos of one plant; satisfies model.identify.PhotoEvidence."""

    log_likelihood: Mapping[str, float]
    log_likelihood_other: float
    probabilities: Mapping[str, float]
    photos: tuple[Mapping[str, Any], ...]


class Classifier:
    """Head and calibration: from features to probabilities over species with photos, and other."""

    def __init__(self, statistics: Statistics, calibration: Calibration) -> None:
        self.statistics = statistics
        self.calibration = calibration
        self.head = Discriminant(statistics, calibration.shrinkage)
        same = calibration.shrinkage == NOVELTY_SHRINKAGE
        self._novelty_head = self.head if same else Discriminant(statistics, NOVELTY_SHRINKAGE)
        self.background = Background(self._novelty_head)
        self.species = tuple(c for c in statistics.classes if not c.startswith(OTHER))
        self._columns = [statistics.classes.index(c) for c in self.species]
        # Species and the whole of `other` weigh alike. Half of the weight of `other` is for
        # its kinds that were learned, half for plants and things that never were.
        kinds = len(statistics.classes) - len(self.species)
        self.class_prior = 1.0 / (len(self.species) + 1)
        self.novel_prior = self.class_prior * (0.5 if kinds else 1.0)
        weights = [1.0 if c in self.species else 0.5 / kinds for c in statistics.classes]
        self.log_prior = np.log(np.array(weights) / sum(weights))

    def calibrated(self, calibration: Calibration) -> Self:
        """The same head with another calibration of the same shrinkage."""
        other = copy(self)
        other.calibration = calibration
        return other

    def with_statistics(self, statistics: Statistics) -> Classifier:
        """The same calibration with other statistics in the head of the shipped network's features."""
        return Classifier(statistics, self.calibration)

    def probabilities(self, x: Array) -> Array:
        """Calibrated probabilities, float (photos, species + 1), rows sum to 1, last is other.

        ``x`` float (photos, features), square roots of pooled features.
        """
        return self.with_other(self.logs(x), self.novelty(x))

    def with_other(self, logs: Array, novelty: Array) -> Array:
        """The same from ln P(class | photo) of the head's classes, float (photos, classes), and the novelty scores."""
        odds = self.novel_prior / (1 - self.novel_prior) * self.ratio(novelty)
        known = softmax(logs)[:, self._columns] / (1 + odds)[:, None]
        return np.hstack([known, 1.0 - known.sum(axis=1, keepdims=True)])

    def logs(self, x: Array) -> Array:
        """ln P(class | photo) up to a constant a photo, float (photos, classes)."""
        return self.logs_of(self.head.scores(x[:, : self.statistics.means.shape[1]]))

    def logs_of(self, scores: Array) -> Array:
        """The same from scores of the head, which its calibration tempers."""
        return np.asarray(scores / self.calibration.temperature + self.log_prior)

    def novelty(self, x: Array, without: NDArray[np.int64] | None = None) -> Array:
        """The novelty score: how much farther photos lie from every class than from the background, float (photos,).

        ln(squared distance to the nearest class) - POWER ln(squared distance to all plants together);
        the higher, the more novel. A plant that was never learned looks like a plant, and like none of them.
        ``without``: the class of each photo, by column, that is taken to be no class, int (photos,).
        """
        x = x[:, : self.statistics.means.shape[1]]
        distances = self._novelty_head.distances(x)
        if without is not None:
            distances[np.arange(len(x)), without] = np.inf
        nearest = np.maximum(distances.min(axis=1), LEAST_DISTANCE)
        to_background = np.maximum(self._to_background(x, without), LEAST_DISTANCE)
        return np.asarray(np.log(nearest) - POWER * np.log(to_background))

    def _to_background(self, x: Array, without: NDArray[np.int64] | None) -> Array:
        if without is None:
            return self.background.distances(x)
        found = np.zeros(len(x))
        for column in np.unique(without):
            here = without == column
            found[here] = Background(self._novelty_head, int(column)).distances(x[here])
        return found

    def novelty_ratio(self, x: Array) -> Array:
        """P(novelty | never learned) / P(novelty | learned), float (photos,).

        Two normal densities; never falls as novelty rises.
        """
        return self.ratio(self.novelty(x))

    def ratio(self, z: Array) -> Array:
        """P(novelty | never learned) / P(novelty | learned) of novelty ``z``, float (photos,)."""
        mean, spread, new_mean, new_spread = self.calibration.novelty
        # The wider of two normal densities wins in both tails; an ordinary photo must not count
        # as novel, so below the point where the ratio is least it stays as it is there.
        if new_spread > spread:
            least = (mean * new_spread**2 - new_mean * spread**2) / (new_spread**2 - spread**2)
            z = np.maximum(z, least)
        logs = 0.5 * ((z - mean) / spread) ** 2 - 0.5 * ((z - new_mean) / new_spread) ** 2 + np.log(spread / new_spread)
        return np.asarray(np.exp(np.minimum(logs, np.log(MOST_NOVEL))))

    def likelihood(self, probabilities: Array) -> Array:
        """P(class | photos) / P(class), floored: a photo never rules a species out."""
        floor = self.calibration.floor
        return np.asarray((1 - floor) * probabilities / self.class_prior + floor)

    def evidence(self, probabilities: Array, photos: Sequence[Mapping[str, Any]]) -> Evidence:
        """Evidence of one plant from fused probabilities."""
        logs = np.log(self.likelihood(probabilities))
        return Evidence(
            log_likelihood={s: float(v) for s, v in zip(self.species, logs, strict=False)},
            log_likelihood_other=float(logs[-1]),
            probabilities={s: float(p) for s, p in zip(self.species, probabilities, strict=False)},
            photos=tuple(photos),
        )

    def nothing(self, photos: Sequence[Mapping[str, Any]]) -> Evidence:
        """Evidence when no photo is usable: the same for all classes."""
        even = np.full(len(self.species) + 1, self.class_prior)
        return self.evidence(even, photos)


def fuse(probabilities: Array, dependence: float) -> Array:
    """Fuse photos of one plant: float (photos, classes) to float (classes,), rows sum to 1.

    All classes weigh alike beforehand. Photos of one plant resemble each other, so that m of
    them count as m ** (1 - dependence).

    >>> fuse(np.array([[0.8, 0.2], [0.8, 0.2]]), 1.0).round(3)
    array([0.8, 0.2])
    """
    weight = len(probabilities) ** -dependence
    return softmax(np.log(np.maximum(probabilities, 1e-12)).sum(axis=0) * weight)


def describe(photo: Photo, row: Array | None, novelty_ratio: float) -> dict[str, Any]:
    """One entry of a Finding's photos: file, usable, notes."""
    notes = list(photo.notes)
    if row is not None:
        if novelty_ratio >= UNLIKE:
            notes.append(STRANGE)
        elif row[-1] >= 0.5:
            notes.append("shows none of the species that the photo model has learned from photos")
    return {"file": photo.file, "usable": photo.usable, "notes": notes}
