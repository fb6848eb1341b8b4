"""Weigh two sets of log-probabilities against each other, on photos that neither was learned from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from model.photo.tuned import pool
from training.head.calibrate import class_weights

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Pool:
    """Weights of the shipped and of the tuned network, and the mean loss that is left, in nats."""

    shipped_weight: float
    tuned_weight: float
    loss: float


def fit_pool(shipped: Array, tuned: Array, truth: NDArray[np.int64]) -> Pool:
    """The two weights, neither negative, with the least loss on calibration photos; classes weigh alike.

    ``shipped``, ``tuned`` float (photos, classes), logs up to a constant a photo; ``truth`` the right
    column of each. The loss has one minimum, as in logistic regression.
    """
    weights, rows = class_weights(truth), np.arange(len(truth))
    scale = np.array([max(float(np.std(logs - logs.mean(axis=1, keepdims=True))), 1e-9) for logs in (shipped, tuned)])

    def loss(scaled: Array) -> tuple[float, Array]:
        by = scaled / scale
        found = pool(shipped, tuned, float(by[0]), float(by[1]))
        wrong = found.copy()
        wrong[rows, truth] -= 1.0
        slope = [float((weights * (wrong * logs).sum(axis=1)).sum()) for logs in (shipped, tuned)]
        value = -float((weights * np.log(np.maximum(found[rows, truth], 1e-300))).sum())
        return value, np.array(slope) / scale

    best = minimize(loss, np.array([0.5, 0.5]), jac=True, bounds=[(0.0, None)] * 2, method="L-BFGS-B")
    shipped_weight, tuned_weight = (float(v) for v in best.x / scale)
    return Pool(shipped_weight, tuned_weight, float(best.fun))
