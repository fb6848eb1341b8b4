"""Add up one's own statistics and those that others gave: always from the start, so that each can be left away."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from model.photo.head import Statistics


@dataclass(frozen=True)
class Contribution:
    """What is taken of a shared file, under the ``name`` of who gave it.

    ``left_out``: species that are not taken. ``weight``: what one of its photos counts beside one of one's own;
    ``most_photos`` of a species are counted. Where a species is left out so is the scatter, for it holds that species.
    """

    name: str
    statistics: Statistics
    left_out: Collection[str]
    weight: float
    most_photos: int


def merge(own: Statistics, contributions: Sequence[Contribution]) -> Statistics:
    """One's own statistics with all contributions beside them; ``own`` itself where there are none.

    A species in both gets the weighted mean of its photos. The scatter is scaled so that the covariance is the mean of
    all covariances, each by its photos and weight. The same bits for the same contributions in whatever order.
    """
    if not contributions:
        return own
    freedom, classes = own.freedom, list(own.classes)
    counts, means, scatter = list(own.counts), list(own.means), own.scatter.copy()
    for one in sorted(contributions, key=lambda one: one.name):
        given = one.statistics
        taken = [row for row, name in enumerate(given.classes) if name not in one.left_out]
        for row in taken:
            count, mean = min(float(given.counts[row]), float(one.most_photos)), given.means[row]
            if given.classes[row] not in classes:
                classes.append(given.classes[row])
                counts.append(count)
                means.append(mean)
                continue
            at, count = classes.index(given.classes[row]), one.weight * count
            apart, both = mean - means[at], counts[at] + count
            scatter += np.outer(apart, apart) * (counts[at] * count / both)
            means[at], counts[at] = means[at] + apart * (count / both), both
        if taken and not one.left_out:
            counted = np.minimum(given.counts, one.most_photos).sum() - len(taken)
            share = one.weight * float(counted)
            scatter += given.scatter * (share / float(given.counts.sum() - len(taken)))
            freedom += share
    order = sorted(range(len(classes)), key=lambda row: classes[row])
    n, m = np.array(counts)[order], np.stack(means)[order]
    scatter *= max(float(n.sum() - len(n)), 1.0) / freedom
    return Statistics(tuple(classes[row] for row in order), n, m, scatter)
