"""Statistics of two sets of photos in one: how much the scatter of the model one starts from counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from model.photo.head import Statistics

Array = NDArray[np.float64]


def weight_of(base: Statistics, photos: float) -> float:
    """How often the scatter of the base counts, so that it counts as much as so many photos; at most once."""
    return min(photos / max(_freedom(base), 1.0), 1.0)


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
