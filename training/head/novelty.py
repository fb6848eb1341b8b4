"""Novelty scores of photos by a model that never learned their class."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from model.photo.evidence import NOVELTY_SHRINKAGE, Calibration, Classifier
from model.photo.head import Statistics, fit_statistics
from training.data.dataset import Data
from training.evaluate.measure import auroc
from training.head.scatter import join

Array = NDArray[np.float64]


def novelty_left_out(base: Statistics, weight: float, calibration: Calibration, fit: Data, check: Data) -> Array:
    """Novelty score of the photos of ``check`` when their own class was never learned, float (photos of check,).

    For each class a head is made without it from ``fit`` and from ``base``, whose scatter counts ``weight`` times.
    NaN for classes that the base knows.
    """
    # Novelty has a shrinkage of its own: with the same one for the head, no second covariance is inverted.
    calibration = replace(calibration, shrinkage=NOVELTY_SHRINKAGE)
    found = np.full(len(check.photos), np.nan)
    learned, labels = np.array(fit.labels), np.array(check.labels)
    for name in sorted(set(check.labels) - set(base.classes)):
        here, rest = labels == name, learned != name
        if rest.any():
            without = join(base, fit_statistics(fit.x[rest], list(learned[rest])), weight)
            found[here] = Classifier(without, calibration).novelty(check.x[here])
    return found


def auroc_by_class(known: Array, left_out: Array, labels: Sequence[str]) -> dict[str, float]:
    """How well the novelty score separates a class never learned from the others: 0.5 is chance, 1 perfect."""
    truth = np.array(labels)
    return {name: auroc(left_out[truth == name], known[truth != name]) for name in sorted(set(labels))}
