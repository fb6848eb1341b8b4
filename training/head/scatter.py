"""Statistics of two sets of photos in one: how much the scatter of the model one starts from counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.photo import Statistics, fit_statistics
from model.photo.head import TAKEN_OFF
from training.data.dataset import Data
from training.data.split import grouped_folds

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ScatterChoice:
    """The choice: ``weight`` of the base's scatter, ``shrinkage``, and the balanced accuracy of each pair tried."""

    weight: float
    shrinkage: float
    tried: dict[tuple[float, float], float]


def join(base: Statistics, own: Statistics, weight: float) -> Statistics:
    """Statistics of two sets of photos in one, the base's scatter counting ``weight`` times.

    With weight 1 it is exactly what all photos at once would give. A class in both gets the
    mean of all its photos, and the scatter between its two means. The scatter is scaled so
    that, over all photos, it gives the weighted mean of the two covariances.
    """
    classes = tuple(sorted({*base.classes, *own.classes}))
    counts, means = np.zeros(len(classes)), np.zeros((len(classes), base.means.shape[1]))
    scatter = weight * base.scatter + own.scatter
    for row, name in enumerate(classes):
        found = [
            (s.counts[s.classes.index(name)], s.means[s.classes.index(name)]) for s in (base, own) if name in s.classes
        ]
        counts[row] = sum(count for count, _ in found)
        means[row] = sum(count * mean for count, mean in found) / counts[row]
        if len(found) == 2:
            (n, one), (m, other) = found
            apart = one - other
            scatter = scatter + np.outer(apart, apart) * (n * m / (n + m))
    return Statistics(classes, counts, means, scatter * _scale(base, _freedom(own), weight))


def take_out(
    joined: Statistics, base: Statistics, weight: float, own: Sequence[str], x: Array, labels: Sequence[str]
) -> Statistics:
    """What ``join`` would have given without some of one's own photos: exact, without the others at hand.

    ``own``: the labels of all photos of one's own in ``joined``. ``x`` float (photos, features) and ``labels`` of
    those that go. The last photo of a class stays.
    """
    left, gone = Counter(own), np.array(labels)
    counts, means = joined.counts.copy(), joined.means.copy()
    scatter = joined.scatter / _scale(base, _own_freedom(left), weight)
    for label in set(labels):
        row = joined.classes.index(label)
        off = x[gone == label][: int(counts[row]) - 1] - means[row]
        counts[row] -= len(off)
        moved = -off.sum(axis=0) / counts[row]
        means[row] += moved
        scatter -= off.T @ off + counts[row] * np.outer(moved, moved)
        left[label] -= len(off)
    return Statistics(joined.classes, counts, means, scatter * _scale(base, _own_freedom(left), weight))


def _scale(base: Statistics, own: float, weight: float) -> float:
    """What makes of a scatter, in which that of the base counts ``weight`` times, one of all photos."""
    return (_freedom(base) + own) / max(weight * _freedom(base) + own, 1.0)


def _own_freedom(labels: Counter[str]) -> float:
    return float(sum(count - 1 for count in labels.values() if count > 0))


def _freedom(statistics: Statistics) -> float:
    return float(max(statistics.counts.sum() - len(statistics.classes), 0.0))


def choose_scatter(
    base: Statistics, fit: Data, weights: Sequence[float], shrinkages: Sequence[float], folds: int, seed: int
) -> ScatterChoice:
    """The pair with the best balanced accuracy on one's own photos, in folds that keep groups whole.

    ``fit``: the fit part. The classes of the base are among the answers, so that one's own species
    must hold out against them. Of a single pair nothing is tried. Raises ValueError where there are fewer
    groups than folds.
    """
    if len(weights) == len(shrinkages) == 1:
        return ScatterChoice(weights[0], shrinkages[0], {})
    x, truth, order = fit.x, np.array(fit.labels), []
    right: dict[tuple[float, float], list[NDArray[np.bool_]]] = {}
    fold = grouped_folds(fit.labels, fit.groups, folds, seed)
    for number in range(folds):
        learn, check = fold != number, fold == number
        own = fit_statistics(x[learn], list(truth[learn]))
        order.append(truth[check])
        for weight in weights:
            joined = join(base, own, weight)
            names = np.array(joined.classes)
            for shrinkage, nearest in nearest_classes(joined, x[check], shrinkages):
                right.setdefault((weight, shrinkage), []).append(names[nearest] == truth[check])
    shown = np.concatenate(order)
    tried = {
        pair: float(np.mean([np.concatenate(hits)[shown == name].mean() for name in sorted(set(fit.labels))]))
        for pair, hits in right.items()
    }
    # Of equals the one that leans most on the base, and shrinks most: both are the safer side.
    weight, shrinkage = max(tried, key=lambda pair: (round(tried[pair], 4), pair))
    return ScatterChoice(weight, shrinkage, tried)


def nearest_classes(
    statistics: Statistics, x: Array, shrinkages: Sequence[float]
) -> list[tuple[float, NDArray[np.int64]]]:
    """The nearest class of each photo at each shrinkage; the eigenvectors of the scatter are found once for all."""
    values, axes = np.linalg.eigh(statistics.scatter)
    values = np.maximum(values, 0.0) / max(_freedom(statistics), 1.0)
    turned, centres = x @ axes, statistics.means @ axes
    found = []
    for shrinkage in shrinkages:
        scale = 1.0 / ((1 - shrinkage) * values + shrinkage * values.mean())
        # As the head does it: what the uncertainty of a mean adds to its distances is taken off.
        excess = TAKEN_OFF * float((scale * values).sum()) / np.maximum(statistics.counts, 1.0)
        square = ((centres**2 * scale).sum(axis=1) - excess)[None] - 2 * (turned * scale) @ centres.T
        found.append((shrinkage, square.argmin(axis=1)))
    return found
