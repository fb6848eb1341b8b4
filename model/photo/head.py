"""The closed-form head: discriminant analysis kept as its sufficient statistics.

Each class is a Gaussian with its own mean and a covariance shared by all, shrunk towards a
multiple of the identity (Friedman 1989; kept as running statistics as in Hayes and Kanan
2020). Features are the square roots of pooled features, which evens out their spread.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
SMALL = 64  # rows that are inverted at once


@dataclass(frozen=True)
class Statistics:
    """What the head has learned: nothing but counts, means and one scatter.

    ``classes``: names, one a row. ``counts`` float (classes,): photos. ``means`` float
    (classes, features). ``scatter`` float (features, features): sum over photos of the outer
    product of their difference from their own class mean.
    """

    classes: tuple[str, ...]
    counts: Array
    means: Array
    scatter: Array

    @classmethod
    def empty(cls, features: int) -> Statistics:
        """No classes yet."""
        return cls((), np.zeros(0), np.zeros((0, features)), np.zeros((features, features)))

    @property
    def freedom(self) -> float:
        """Degrees of freedom of the scatter: photos less classes, at least 1."""
        return max(float(self.counts.sum()) - len(self.classes), 1.0)

    @property
    def covariance(self) -> Array:
        """Covariance within classes, pooled over them, float (features, features)."""
        return np.asarray(self.scatter / self.freedom)


def fit_statistics(x: Array, labels: list[str]) -> Statistics:
    """Statistics of photos.

    ``x`` float (photos, features); ``labels`` one class name a photo.
    """
    classes = tuple(sorted(set(labels)))
    rows = np.array([classes.index(label) for label in labels])
    counts = np.bincount(rows, minlength=len(classes)).astype(float)
    means = np.stack([x[rows == c].mean(axis=0) for c in range(len(classes))])
    residual = x - means[rows]
    return Statistics(classes, counts, means, residual.T @ residual)


class Discriminant:
    """The head, ready to classify: linear scores, and distances that show the unknown."""

    def __init__(self, statistics: Statistics, shrinkage: float) -> None:
        self.classes = statistics.classes
        self.means = statistics.means
        covariance = statistics.covariance
        # One photo a class shows no spread at all; any even one then separates the classes by distance.
        even = np.trace(covariance) / len(covariance) or 1.0
        covariance *= 1 - shrinkage
        covariance.flat[:: len(covariance) + 1] += shrinkage * even
        self._root = inverse_of_lower(np.asarray(np.linalg.cholesky(covariance), np.float64))
        self._white_means = self.whiten(self.means)
        self._white_squares = (self._white_means**2).sum(axis=1)
        # The mean of n photos lies off the true one by a variance of 1/n, which adds to every
        # distance: without this, species with few photos lose against those with many.
        # In white terms the whole is the identity, so that what is not the even part is the covariance.
        whole = len(covariance) - shrinkage * even * float((self._root**2).sum())
        excess = whole / (1 - shrinkage) if shrinkage < 1 else float(len(covariance))
        self._excess = excess / np.maximum(statistics.counts, 1.0)

    def whiten(self, x: Array) -> Array:
        """Turn and stretch features so that the covariance becomes the identity, float (photos, features)."""
        return np.asarray(x @ self._root.T)

    def distances(self, x: Array) -> Array:
        """Squared Mahalanobis distance to each class mean, float (photos, classes), never negative.

        What the uncertainty of a mean adds to it is taken off, so that classes of few and of many photos are judged
        alike.
        """
        white = self.whiten(x)
        square = (white**2).sum(axis=1)[:, None] + self._white_squares[None]
        return np.asarray(np.maximum(square - 2 * white @ self._white_means.T - self._excess[None], 0.0))

    def linear(self) -> tuple[Array, Array]:
        """The same scores but for what all classes share: weights float (classes, features), offsets (classes,)."""
        offsets = -0.5 * (self._white_squares - self._excess)
        return self._white_means @ self._root, offsets

    def scores(self, x: Array) -> Array:
        """ln density of each class up to a constant, float (photos, classes)."""
        return -0.5 * self.distances(x)


class Background:
    """All classes as one Gaussian, each weighing alike: what plants have in common.

    Its covariance is that of a head, and the spread between the class means on top. ``without``:
    a class, by its row, that is taken to be none.
    """

    def __init__(self, head: Discriminant, without: int | None = None) -> None:
        self._head = head
        white = head.whiten(head.means if without is None else np.delete(head.means, without, axis=0))
        self._middle = white.mean(axis=0)
        # Whitened, the covariance is the identity and one direction a class; the inverse of such is known
        # (Woodbury's identity), and as many directions as there are classes are all that is kept.
        between = (white - self._middle) / np.sqrt(len(white))
        values, axes = np.linalg.eigh(between @ between.T)
        kept = values > 1e-9 * max(values.max(), 1e-300)
        self._directions = (between.T @ axes[:, kept]) / np.sqrt(values[kept])
        self._less = values[kept] / (1.0 + values[kept])

    def distances(self, x: Array) -> Array:
        """Squared Mahalanobis distance of photos (photos, features) to all plants together, float (photos,)."""
        off = self._head.whiten(x) - self._middle
        return np.asarray((off**2).sum(axis=1) - ((off @ self._directions) ** 2 * self._less).sum(axis=1))


def inverse_of_lower(lower: Array) -> Array:
    """The inverse of a lower triangular matrix, several times faster than a general one.

    >>> inverse_of_lower(np.array([[2.0, 0.0], [1.0, 4.0]]))
    array([[ 0.5  ,  0.   ],
           [-0.125,  0.25 ]])
    """
    if len(lower) <= SMALL:
        return np.asarray(np.linalg.inv(lower))
    half = len(lower) // 2
    inverse = np.zeros_like(lower)
    inverse[:half, :half] = above = inverse_of_lower(lower[:half, :half])
    inverse[half:, half:] = below = inverse_of_lower(lower[half:, half:])
    inverse[half:, :half] = -below @ (lower[half:, :half] @ above)
    return inverse


def softmax(scores: Array) -> Array:
    """Probabilities along the last axis; rows sum to 1.

    >>> softmax(np.array([[0.0, 0.0]]))
    array([[0.5, 0.5]])
    """
    weights = np.exp(scores - scores.max(axis=-1, keepdims=True))
    return np.asarray(weights / weights.sum(axis=-1, keepdims=True))
