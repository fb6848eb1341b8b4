"""Statistics of two sets of photos pooled into one, the scatter of the starter with a weight of its own."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from model.photo.head import Statistics

Array = NDArray[np.float64]


def scatter_weight(base: Statistics, photos: float) -> float:
    """The weight, up to 1, by which the scatter of the base counts as much as that of so many photos."""
    return min(photos / max(_freedom(base), 1.0), 1.0)


def join(base: Statistics, own: Statistics, weight: float) -> Statistics:
    """The pooled statistics of two sets of photos, with the base's scatter multiplied by ``weight``.

    With weight 1 they are exactly those of all photos at once. A class in both gets the
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
    """What ``join`` would have given without some of one's own photos: an exact downdate that needs no other photo.

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
    """The factor that brings a scatter with the base's ``weight`` in it to the degrees of freedom of all photos."""
    return (_freedom(base) + own) / max(weight * _freedom(base) + own, 1.0)


def _own_freedom(labels: Counter[str]) -> float:
    return float(sum(count - 1 for count in labels.values() if count > 0))


def _freedom(statistics: Statistics) -> float:
    return float(max(statistics.counts.sum() - len(statistics.classes), 0.0))
