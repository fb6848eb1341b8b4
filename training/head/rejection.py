"""Where to stop believing that a photo shows a learned class: fitted on species that were left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.head.calibrate import class_weights

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Rejection:
    """Photos stranger than ``threshold`` are said to show nothing that was learned.

    ``kept``: share of photos of learned classes that stay below it; ``caught``: share of
    photos that lie above it when their own class was never learned. Classes weigh alike.
    """

    threshold: float
    kept: float
    caught: float


def fit_rejection(known: Array, left_out: Array, labels: Sequence[str], least_kept: float) -> Rejection:
    """The threshold on strangeness that tells learned from left out best, and keeps enough.

    ``known``, ``left_out``: strangeness of the same calibration photos, float (photos,), with
    their class learned and with it left out; ``least_kept`` in 0-1, the share of photos of
    learned classes that must not be turned away. Best means the largest kept + caught.
    """
    weights = class_weights(np.unique(np.array(labels), return_inverse=True)[1])
    cuts = np.unique(np.concatenate([known, left_out]))
    kept = np.array([float(weights[known <= cut].sum()) for cut in cuts])
    caught = np.array([float(weights[left_out > cut].sum()) for cut in cuts])
    allowed = kept >= least_kept - 1e-12  # the strangest of all keeps every photo, so one is
    best = int(np.where(allowed, kept + caught, -1.0).argmax())
    return Rejection(float(cuts[best]), float(kept[best]), float(caught[best]))
