"""Ways to say how strange a photo is to a closed-form head, all from frozen features; higher is stranger.

Compared with the starter's features, each class left out once (AUROC: mean of 16 classes left out; of the four
photographed in the field; of what is no plant): distance to the nearest class 0.61, 0.95, 1.00; over that to all
plants together 0.85, 0.89, 0.92; over its 0.98th power 0.82, 0.98, 0.999, which is in use; within the span of
the class means 0.79, 0.96, 0.998.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from model.photo import Discriminant, fit_statistics
from model.photo.evidence import POWER, STEADY_SHRINKAGE
from model.photo.head import Background

Array = NDArray[np.float64]
Way = Callable[[Array], Array]
NEIGHBOUR = 5
WARMTH = 5.4  # the starter's temperature
LEAST = 1e-9


def spanned(head: Discriminant, x: Array) -> Array:
    """Squared distance to the nearest class within the span of the class means, float (photos,)."""
    # Whitened, the class means span as many directions as there are classes but one; no other tells classes apart.
    white = head.whiten(head.means)
    middle = white.mean(axis=0)
    base = np.linalg.svd(white - middle, full_matrices=False)[2][: len(white) - 1]
    photos, means = (head.whiten(x) - middle) @ base.T, (white - middle) @ base.T
    return np.asarray(((photos[:, None] - means[None]) ** 2).sum(axis=2).min(axis=1))


def ways_of_strangeness(x: Array, labels: Sequence[str]) -> Mapping[str, Way]:
    """The ways, fitted on features (photos, features) of learned classes."""
    statistics = fit_statistics(x, list(labels))
    head = Discriminant(statistics, STEADY_SHRINKAGE)
    background = Background(head)
    shown = x / np.linalg.norm(x, axis=1, keepdims=True)

    def nearest(z: Array) -> Array:
        return np.asarray(np.maximum(head.distances(z, 1.0).min(axis=1), LEAST))

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
