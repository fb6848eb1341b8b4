"""Measure a photo model on held-out photos: accuracy, calibration against its null, by source."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
BINS = 10


@dataclass(frozen=True)
class Measurement:
    """Figures of one set of photos, none of which was learned from or calibrated on.

    ``top1``, ``top3``, ``balanced_top1`` in 0-1, higher is better; ``nll`` in nats and
    ``ece`` in 0-1, lower is better; ``ece_null`` is the 95th percentile of the ECE that a
    perfectly calibrated model would show on as many photos with the same probabilities.
    """

    photos: int
    groups: int
    top1: float
    top3: float
    balanced_top1: float
    nll: float
    ece: float
    ece_null: float
    per_class: dict[str, float] = field(default_factory=dict)


def measure(
    probabilities: Array,
    truth: NDArray[np.int64],
    classes: Sequence[str],
    groups: Sequence[str],
    draws: int = 200,
    seed: int = 0,
) -> Measurement:
    """Measure probabilities, float (photos, classes), against the right columns.

    Out-of-sample probabilities only: figures on photos that were learned from mean nothing.
    """
    order = np.argsort(-probabilities, axis=1, kind="stable")
    right = order[:, 0] == truth
    own = probabilities[np.arange(len(truth)), truth]
    per_class = {classes[c]: float(right[truth == c].mean()) for c in np.unique(truth)}
    return Measurement(
        photos=len(truth),
        groups=len(set(groups)),
        top1=float(right.mean()),
        top3=float((order[:, :3] == truth[:, None]).any(axis=1).mean()),
        balanced_top1=float(np.mean(list(per_class.values()))),
        nll=float(-np.log(np.maximum(own, 1e-12)).mean()),
        ece=expected_calibration_error(probabilities.max(axis=1), right),
        ece_null=calibration_null(probabilities.max(axis=1), draws, seed),
        per_class=per_class,
    )


def expected_calibration_error(confidence: Array, right: NDArray[np.bool_], bins: int = BINS) -> float:
    """Mean distance between confidence and share right, over bins with equally many photos.

    Lower is better; never zero on few photos, even for a perfect model: see calibration_null.
    """
    order = np.argsort(confidence, kind="stable")
    parts = np.array_split(order, min(bins, len(order)))
    return float(sum(len(p) * abs(confidence[p].mean() - right[p].mean()) for p in parts) / len(order))


def calibration_null(confidence: Array, draws: int, seed: int, percentile: float = 95.0) -> float:
    """The ECE that perfect calibration stays under in 95 % of draws on these confidences."""
    random = np.random.default_rng(seed)
    errors = [expected_calibration_error(confidence, random.random(len(confidence)) < confidence) for _ in range(draws)]
    return float(np.percentile(errors, percentile))
