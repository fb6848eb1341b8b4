"""Calibrate: temperature, novelty, floor and dependence, on photos that were not learned from."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from model.photo.evidence import fuse

Array = NDArray[np.float64]


def fit_temperature(scores: Array, truth: NDArray[np.int64]) -> float:
    """The one number that the scores are divided by: least negative log-likelihood (Guo 2017).

    ``scores`` float (photos, classes); ``truth`` the right column of each. Classes weigh alike.
    """
    weights = class_weights(truth)

    def loss(log_t: float) -> float:
        z = scores / np.exp(log_t)
        z = z - z.max(axis=1, keepdims=True)
        logs = z[np.arange(len(z)), truth] - np.log(np.exp(z).sum(axis=1))
        return -float((weights * logs).sum())

    found = minimize_scalar(loss, bounds=(np.log(0.1), np.log(1000.0)), method="bounded")
    return float(np.exp(found.x))


def class_weights(truth: NDArray[np.int64]) -> Array:
    """Weights of photos, sum 1, that make every class count alike."""
    counts = np.bincount(truth)
    weights = 1.0 / counts[truth]
    return np.asarray(weights / weights.sum())


def fit_novelty(known: Array, novel: Array, labels: Sequence[str]) -> tuple[float, float, float, float]:
    """Mean and standard deviation of strangeness: classes learned, then classes left out.

    ``known``, ``novel``: strangeness of the same calibration photos, with their class learned
    and with it left out. Classes weigh alike.
    """
    weights = class_weights(np.unique(np.array(labels), return_inverse=True)[1])

    def moments(z: Array) -> tuple[float, float]:
        mean = float(weights @ z)
        return mean, float(np.sqrt(weights @ (z - mean) ** 2))

    mean, spread = moments(known)
    new_mean, new_spread = moments(novel)
    return mean, spread, max(new_mean, mean), max(new_spread, spread)


def move_novelty(
    novelty: tuple[float, float, float, float], known: Array, labels: Sequence[str]
) -> tuple[float, float, float, float]:
    """The same, moved to where the learned classes of another model lie: for too few photos to fit it anew.

    ``known``: strangeness of calibration photos by that model, with their class learned. Classes weigh alike.
    """
    weights = class_weights(np.unique(np.array(labels), return_inverse=True)[1])
    off = float(weights @ known) - novelty[0]
    return novelty[0] + off, novelty[1], novelty[2] + off, novelty[3]


def fit_floor(probabilities: Array, truth: NDArray[np.int64], least: float) -> float:
    """Share of the evidence that is even over classes: most likely on calibration photos.

    ``probabilities`` float (photos, species + 1) from the classifier, rows sum to 1.
    """
    own = probabilities[np.arange(len(truth)), truth] * probabilities.shape[1]
    weights = class_weights(truth)

    def loss(floor: float) -> float:
        return -float((weights * np.log((1 - floor) * own + floor)).sum())

    found = minimize_scalar(loss, bounds=(1e-4, 0.5), method="bounded")
    return max(float(found.x), least)


def fit_dependence(
    probabilities: Array, truth: NDArray[np.int64], groups: Sequence[str], most: int = 4
) -> tuple[float, int]:
    """How far several photos of one group count as fewer: 0 independent, 1 as one.

    Groups with two or more calibration photos of one class are fused, up to ``most`` photos
    each; the value with the least negative log-likelihood wins. Returns it and the number
    of groups it rests on; 1 where there are none.
    """
    together: dict[tuple[str, int], list[int]] = defaultdict(list)
    for i, group in enumerate(groups):
        together[(group, int(truth[i]))].append(i)
    several = [(label, rows[:most]) for (_, label), rows in together.items() if len(rows) > 1]
    if not several:
        return 1.0, 0
    losses = {}
    for value in np.linspace(0.0, 1.0, 21):
        own = [max(fuse(probabilities[rows], float(value))[label], 1e-6) for label, rows in several]
        losses[float(value)] = -float(np.log(own).mean())
    return min(losses, key=lambda v: losses[v]), len(several)
