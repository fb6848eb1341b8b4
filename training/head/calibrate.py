"""Calibrate a head on photos that it was not fitted on: temperature, novelty, floor and dependence."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from model.photo.evidence import Calibration, fuse
from training.head.cross_fit import CrossFitted
from training.recipes.recipe import Recipe

Array = NDArray[np.float64]
Novelty = tuple[float, float, float, float]
LEAST_GROUPS = 10  # groups of several photos, from which dependence is fitted


def calibrate(crossed: CrossFitted, left_out: Array, recipe: Recipe, no_stricter: bool = False) -> Calibration:
    """The calibration of a head by one's own photos, each as heads see it that have not learned from it.

    What the head has already is kept where fewer than ``recipe.least_calibration_photos`` photos or 10 groups show a
    value. ``left_out`` float (photos,): novelty scores if their own class had never been learned, NaN for photos that
    novelty is not to be fitted on. ``no_stricter``: nothing is called novel that would have passed before, for one's
    own photos do not show the species that the model one starts from knows.
    """
    check, whole = crossed.data, crossed.whole
    start, least = whole.calibration, recipe.least_calibration_photos
    learned, use = crossed.novelty, ~np.isnan(left_out)
    if use.sum() >= least:
        novelty = fit_novelty(learned[use], left_out[use], check.where(use).labels)
    else:
        novelty = shift_novelty(start.novelty, learned, check.labels)
    if no_stricter:
        novelty = no_stricter_than(start.novelty, novelty)
    calibration = replace(start, novelty=novelty)
    if len(check.photos) < least:
        return calibration
    calibration = replace(calibration, temperature=fit_temperature(crossed.scores, crossed.columns))
    probabilities, truth = crossed.probabilities(calibration), check.truth(whole.species)
    dependence, groups = fit_dependence(probabilities, truth, check.groups)
    return replace(
        calibration,
        floor=fit_floor(probabilities, truth, recipe.least_floor),
        dependence=max(dependence, recipe.least_dependence) if groups >= LEAST_GROUPS else start.dependence,
    )


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


def class_weights(labels: Sequence[str] | NDArray[np.int64]) -> Array:
    """Weights of photos, sum 1, that make every class count alike. ``labels``: the class of each photo."""
    _, rows, counts = np.unique(np.asarray(labels), return_inverse=True, return_counts=True)
    weights = 1.0 / counts[rows]
    return np.asarray(weights / weights.sum())


def fit_novelty(learned: Array, left_out: Array, labels: Sequence[str]) -> Novelty:
    """Mean and standard deviation of the novelty score: of classes learned, then of classes left out.

    ``learned``, ``left_out``: scores of the same calibration photos, with their class learned and
    with it left out. Classes weigh alike.
    """
    weights = class_weights(labels)

    def moments(z: Array) -> tuple[float, float]:
        mean = float(weights @ z)
        return mean, float(np.sqrt(weights @ (z - mean) ** 2))

    mean, deviation = moments(learned)
    new_mean, new_deviation = moments(left_out)
    return mean, deviation, max(new_mean, mean), max(new_deviation, deviation)


def shift_novelty(novelty: Novelty, learned: Array, labels: Sequence[str]) -> Novelty:
    """The moments of another model, moved to where the learned classes of this one lie, and as wide: for few photos.

    ``learned``: novelty scores of one's own photos by heads that have not learned from them. Classes weigh alike.
    """
    weights = class_weights(labels)
    mean = float(weights @ learned)
    wider = max(float(np.sqrt(weights @ (learned - mean) ** 2)) / novelty[1], 1.0)
    return mean, novelty[1] * wider, novelty[2] + mean - novelty[0], novelty[3] * wider


def no_stricter_than(before: Novelty, novelty: Novelty) -> Novelty:
    """Moments whose learned classes lie at least as high as before.

    Photos of one's own may be of another kind than those of the starter, and less novel: fitted on them alone, a
    quarter of the photos of species that only the starter has were called other (96 % right before, 73 % after).

    >>> no_stricter_than((0.3, 0.1, 0.5, 0.1), (0.1, 0.2, 0.2, 0.2))
    (0.3, 0.2, 0.4, 0.2)
    """
    moved = max(before[0] - novelty[0], 0.0)
    return novelty[0] + moved, novelty[1], novelty[2] + moved, novelty[3]


def fit_floor(probabilities: Array, truth: NDArray[np.int64], least: float) -> float:
    """Share of the evidence that is even over classes: most likely on calibration photos, but at least ``least``.

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
