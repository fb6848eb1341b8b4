"""Prototypes of a species in the features of photos, from its drawings alone.

Directions are those of linear discriminant analysis with the spread that real photos have
within their species, the only thing taken from photos; each is scaled to length one in that
spread, because a drawing that is far from the middle of all drawings is often only a bold
drawing. Chosen on the open photos with species left out (tests/claims/hint_claims.py): moving
drawings by the mean difference to photos, whitening both sides apart, the spread of drawings,
logistic regression on drawings, and one prototype a species all did worse, or no better.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.hint import NOTHING
from model.photo import Statistics
from training.drawn.album import Album
from training.drawn.scene import PLAIN_LAWN

Array = NDArray[np.float64]
SHRINKAGE = 0.5  # of the spread; 0.4 to 0.7 do alike


@dataclass(frozen=True)
class Prototypes:
    """``weights`` float (prototypes, features) and ``biases``; ``owners`` are species, or NOTHING."""

    owners: tuple[str, ...]
    weights: Array
    biases: Array

    def fits(self, x: Array) -> Array:
        """How well photos fit each prototype, float (photos, prototypes)."""
        return np.asarray(x @ self.weights.T + self.biases)

    def of(self, keep: set[str]) -> Prototypes:
        """Those of some owners."""
        rows = [i for i, owner in enumerate(self.owners) if owner in keep]
        return Prototypes(tuple(self.owners[i] for i in rows), self.weights[rows], self.biases[rows])


def views_of(album: Album) -> list[NDArray[np.bool_]]:
    """The kinds of picture that get a prototype of their own."""
    stage = np.array([p.stage for p in album.pictures])
    close = album.framings == "flower"
    leaf = (stage == "leaves") & (album.framings == "leaf")
    leaves = (stage == "leaves") & ~leaf
    seedling = stage == "seedling"
    return [
        close & (stage == "flowering"),
        close & (stage == "seeding"),
        leaf,
        leaves,
        seedling,
        ~close & ~leaf & ~leaves & ~seedling,
    ]


def make_prototypes(
    album: Album, statistics: Statistics, shrinkage: float = SHRINKAGE, together: bool = False
) -> Prototypes:
    """Prototypes of all species of an album, and of the plain lawn, which is nothing.

    ``statistics`` of real photos give the spread within species. ``together``: one prototype a species.
    """
    labels = album.labels
    names = [str(n) for n in sorted(set(labels)) if n != PLAIN_LAWN]
    grown = ~album.seedlings
    middle = np.mean([album.x[(labels == name) & grown].mean(axis=0) for name in names], axis=0)
    kinds = [np.ones(len(labels), dtype=bool)] if together else views_of(album)
    owners, means = [], []
    for name in [*names, PLAIN_LAWN]:
        for kind in kinds if name != PLAIN_LAWN else [np.ones(len(labels), dtype=bool)]:
            rows = (labels == name) & kind
            if rows.any():
                owners.append(NOTHING if name == PLAIN_LAWN else name)
                means.append(album.x[rows].mean(axis=0) - middle)
    away = np.stack(means)
    weights = np.linalg.solve(spread(statistics, shrinkage), away.T).T
    weights /= np.sqrt((weights * away).sum(axis=1))[:, None]
    return Prototypes(tuple(owners), weights, -weights @ middle)


def spread(statistics: Statistics, shrinkage: float) -> Array:
    """Shrunken covariance within species, float (features, features), mean variance 1."""
    covariance = statistics.scatter / (np.trace(statistics.scatter) / len(statistics.scatter))
    return np.asarray((1 - shrinkage) * covariance + shrinkage * np.eye(len(covariance)))
