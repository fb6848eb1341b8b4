"""Ways to say how strange a photo is to a closed-form head, all from frozen features; higher is stranger.

Compared on the open photos with ImageNet's features, each class left out once (AUROC of classes left out, mean of
16; AUROC of what is no plant): distance to the nearest class, over what is usual for it 0.65, 1.00; the distance
alone 0.61, 1.00; over that to all plants together 0.84, 0.97; over its 0.98th power 0.83, 0.998; within the span
of the class means 0.82, 0.994.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from model.photo import Discriminant, Statistics, fit_statistics
from model.photo.head import inverse_of_lower

Array = NDArray[np.float64]
Way = Callable[[Array], Array]
SHRINKAGE = 0.2
POWER = 0.98  # of the distance to all plants: 1 loses the photos that are far from everything
NEIGHBOUR = 5
WARMTH = 5.4  # the starter's temperature
LEAST = 1e-9


class Background:
    """All classes as one Gaussian: what plants have in common (relative Mahalanobis, Ren et al. 2021).

    Made of the head's own statistics: the spread within the classes and between their means.
    """

    def __init__(self, statistics: Statistics, shrinkage: float = SHRINKAGE) -> None:
        counts = statistics.counts
        self.mean = counts @ statistics.means / counts.sum()
        between = statistics.means - self.mean
        spread = (statistics.scatter + (between * counts[:, None]).T @ between) / counts.sum()
        even = np.trace(spread) / len(spread)
        spread *= 1 - shrinkage
        spread.flat[:: len(spread) + 1] += shrinkage * even
        self._root = inverse_of_lower(np.linalg.cholesky(spread))

    def distances(self, x: Array) -> Array:
        """Squared distance of photos (photos, features) to all plants together, float (photos,)."""
        return np.asarray((((x - self.mean) @ self._root.T) ** 2).sum(axis=1))


def spanned(head: Discriminant, x: Array) -> Array:
    """Squared distance to the nearest class within the span of the class means, float (photos,)."""
    # Whitened, the class means span as many directions as there are classes but one; no other tells classes apart.
    white = head.means @ head._root.T
    middle = white.mean(axis=0)
    base = np.linalg.svd(white - middle, full_matrices=False)[2][: len(white) - 1]
    photos, means = (x @ head._root.T - middle) @ base.T, (white - middle) @ base.T
    return np.asarray(((photos[:, None] - means[None]) ** 2).sum(axis=2).min(axis=1))


def ways_of_strangeness(x: Array, labels: Sequence[str]) -> Mapping[str, Way]:
    """The ways, fitted on features (photos, features) of learned classes."""
    statistics = fit_statistics(x, list(labels))
    head, background = Discriminant(statistics, SHRINKAGE), Background(statistics)
    shown = x / np.linalg.norm(x, axis=1, keepdims=True)

    def nearest(z: Array) -> Array:
        return np.asarray(np.maximum(head.distances(z).min(axis=1), LEAST))

    def relative(power: float) -> Way:
        return lambda z: np.asarray(np.log(nearest(z)) - power * np.log(background.distances(z)))

    def energy(z: Array) -> Array:
        distances = head.distances(z) / (2 * WARMTH)
        return np.asarray(-np.logaddexp.reduce(-distances, axis=1))

    def neighbour(z: Array) -> Array:
        alike = (z / np.linalg.norm(z, axis=1, keepdims=True)) @ shown.T
        return np.asarray(-np.sort(alike, axis=1)[:, -NEIGHBOUR])

    return {
        f"over all plants ^ {POWER}": relative(POWER),
        "over all plants": relative(1.0),
        "in the span of means": lambda z: spanned(head, z),
        "nearest class": nearest,
        "energy": energy,
        "nearest photos": neighbour,
        "small norm": lambda z: np.asarray(-np.linalg.norm(z, axis=1)),
    }
