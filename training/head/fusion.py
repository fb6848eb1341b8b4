"""Weigh several sets of log-probabilities against each other, on photos that none of them was learned from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from model.photo.tuned import pool
from training.head.calibrate import class_weights, fit_temperature

Array = NDArray[np.float64]
# Weight, in photos, of the penalty that draws the shares towards equal ones: with 112 photos of 16 classes, weights
# fitted without it left out whole heads and lost 0.01 to 0.02 nats on other photos.
EQUAL = 10


@dataclass(frozen=True)
class Pool:
    """The weight of each set, and the mean loss that is left, in nats."""

    weights: tuple[float, ...]
    loss: float


def fit_pool(logs: Sequence[Array], truth: NDArray[np.int64]) -> Pool:
    """Weights, none negative, with the least loss on calibration photos; classes weigh alike.

    ``logs``: float (photos, classes) of each set, up to a constant a photo; ``truth`` the right column of each photo.
    Each set is brought to its own best temperature first, and equal shares of these are where the weights begin.
    """
    weights, rows, equal = class_weights(truth), np.arange(len(truth)), 1 / len(logs)
    scale = [fit_temperature(one, truth) for one in logs]
    ready = [one / by for one, by in zip(logs, scale, strict=True)]

    def loss(shares: Array) -> tuple[float, Array]:
        found = pool(ready, shares.tolist())
        wrong = found.copy()
        wrong[rows, truth] -= 1.0
        slope = np.array([float((weights * (wrong * one).sum(axis=1)).sum()) for one in ready])
        value = -float((weights * np.log(np.maximum(found[rows, truth], 1e-300))).sum())
        off = shares - equal
        return value + EQUAL / len(truth) * float(off @ off), slope + 2 * EQUAL / len(truth) * off

    best = minimize(loss, np.full(len(logs), equal), jac=True, bounds=[(0.0, None)] * len(logs), method="L-BFGS-B")
    return Pool(tuple(float(s / t) for s, t in zip(best.x, scale, strict=True)), float(best.fun))
