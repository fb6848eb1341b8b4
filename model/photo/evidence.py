"""What photos say about the species: calibrated probabilities, fused over photos, with a floor."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.photo.decode import Photo
from model.photo.head import Discriminant, Statistics, softmax

Array = NDArray[np.float64]
OTHER = "other:"  # head classes of plants outside the flora begin with this
MOST_NOVEL = 1e4
UNLIKE = 30.0  # novelty ratio from which a person is told that the photo is unlike all that was learned


@dataclass(frozen=True)
class Calibration:
    """Numbers fitted on calibration photos, never on the photos that the head learned from.

    ``shrinkage`` of the covariance; ``temperature`` divides the scores; ``typical`` are the
    squared distances usual for each class, in the order of the head's classes. A photo's
    strangeness is ln(distance to its class / typical); ``novelty`` are mean and standard
    deviation of it for classes that were learned, then for classes that were left out.
    ``floor`` is the share of a photo's evidence that is even over all classes;
    ``dependence`` in 0-1: m photos of one plant count as m ** (1 - dependence).
    """

    shrinkage: float
    temperature: float
    typical: tuple[float, ...]
    novelty: tuple[float, float, float, float]
    floor: float
    dependence: float


@dataclass(frozen=True)
class Evidence:
    """What the photos of one plant say; satisfies model.identify.PhotoEvidence and model.hint.Hinted."""

    log_likelihood: Mapping[str, float]
    log_likelihood_other: float
    probabilities: Mapping[str, float]
    photos: tuple[Mapping[str, Any], ...]
    hint: Mapping[str, float] = field(default_factory=dict)
    hint_weight: float = 0.0


class Classifier:
    """Head and calibration: from features to probabilities over species with photos, and other."""

    def __init__(self, statistics: Statistics, calibration: Calibration) -> None:
        self.statistics = statistics
        self.calibration = calibration
        self.head = Discriminant(statistics, calibration.shrinkage)
        self.species = tuple(c for c in statistics.classes if not c.startswith(OTHER))
        self._columns = [statistics.classes.index(c) for c in self.species]
        # Species and the whole of `other` weigh alike. Half of the weight of `other` is for
        # its kinds that were learned, half for plants and things that never were.
        kinds = len(statistics.classes) - len(self.species)
        self.class_prior = 1.0 / (len(self.species) + 1)
        self.novel_prior = self.class_prior * (0.5 if kinds else 1.0)
        weights = [1.0 if c in self.species else 0.5 / kinds for c in statistics.classes]
        self.log_prior = np.log(np.array(weights) / sum(weights))

    def probabilities(self, x: Array) -> Array:
        """Calibrated probabilities, float (photos, species + 1), rows sum to 1, last is other.

        ``x`` float (photos, features), square roots of pooled features.
        """
        distances = self.distances(x)
        closed = self.closed(x, distances)
        odds = self.novel_prior / (1 - self.novel_prior) * self.ratio(self.strangeness(distances, closed))
        known = closed[:, self._columns] / (1 + odds)[:, None]
        return np.hstack([known, 1.0 - known.sum(axis=1, keepdims=True)])

    def distances(self, x: Array) -> Array:
        """Squared distance to each class of the head, float (photos, classes), by the first of the features."""
        return self.head.distances(x[:, : self.statistics.means.shape[1]])

    def logs(self, x: Array, distances: Array) -> Array:
        """ln P(class | photo) up to a constant a photo, float (photos, classes)."""
        return np.asarray(-0.5 * distances / self.calibration.temperature + self.log_prior)

    def closed(self, x: Array, distances: Array) -> Array:
        """Probabilities as if every photo showed one of the head's classes, rows sum to 1."""
        return softmax(self.logs(x, distances))

    def strangeness(self, distances: Array, closed: Array) -> Array:
        """ln(distance / typical distance) of the likeliest class, float (photos,); 0 is ordinary."""
        rows, best = np.arange(len(closed)), closed.argmax(axis=1)
        typical = np.array(self.calibration.typical)
        return np.asarray(np.log(np.maximum(distances[rows, best], 1e-9) / typical[best]))

    def novelty_ratio(self, x: Array) -> Array:
        """P(strangeness | never learned) / P(strangeness | learned), float (photos,).

        Two normal densities; never falls as strangeness rises.
        """
        distances = self.distances(x)
        closed = self.closed(x, distances)
        return self.ratio(self.strangeness(distances, closed))

    def ratio(self, z: Array) -> Array:
        """P(strangeness | never learned) / P(strangeness | learned) of strangeness ``z``, float (photos,)."""
        mean, spread, new_mean, new_spread = self.calibration.novelty
        # The wider of two normal densities wins in both tails; an ordinary photo must not count
        # as novel, so below the point where the ratio is least it stays as it is there.
        if new_spread > spread:
            least = (mean * new_spread**2 - new_mean * spread**2) / (new_spread**2 - spread**2)
            z = np.maximum(z, least)
        logs = 0.5 * ((z - mean) / spread) ** 2 - 0.5 * ((z - new_mean) / new_spread) ** 2 + np.log(spread / new_spread)
        return np.asarray(np.exp(np.minimum(logs, np.log(MOST_NOVEL))))

    def fuse(self, probabilities: Array) -> Array:
        """One row of probabilities for all photos of one plant; see ``fuse``."""
        return fuse(probabilities, self.calibration.dependence)

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
        """Evidence when no photo is usable: even over all classes."""
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
            notes.append("unlike every plant that the photo model has learned; it may be another plant, or none")
        elif row[-1] >= 0.5:
            notes.append("shows none of the species that the photo model has learned from photos")
    return {"file": photo.file, "usable": photo.usable, "notes": notes}
