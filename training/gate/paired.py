"""Two models on the same photos: how sure the difference of their balanced accuracies is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

CHUNK = 500  # draws at once: what memory allows with thousands of groups


@dataclass(frozen=True)
class Difference:
    """Balanced accuracy of the new model minus the old one's, with its interval."""

    value: float
    low: float
    high: float


def paired_difference(
    right_old: NDArray[np.bool_],
    right_new: NDArray[np.bool_],
    truth: NDArray[np.int64],
    groups: Sequence[str],
    draws: int,
    level: float,
    seed: int = 0,
) -> Difference:
    """Paired bootstrap over groups (Efron 1979): whole groups are drawn, with all their photos.

    ``right_old``, ``right_new``, ``truth``: one a photo, in step. Balanced accuracy is the mean
    over the classes that a draw holds. The interval holds ``level`` of the draws, its ends
    cut off alike many.
    """
    _, group = np.unique(np.array(groups), return_inverse=True)
    _, column = np.unique(truth, return_inverse=True)
    shape = (int(group.max()) + 1, int(column.max()) + 1)
    photos, gained = np.zeros(shape), np.zeros(shape)
    np.add.at(photos, (group, column), 1.0)
    np.add.at(gained, (group, column), right_new.astype(float) - right_old.astype(float))
    random = np.random.default_rng(seed)
    found = []
    for start in range(0, draws, CHUNK):
        count = min(CHUNK, draws - start)
        drawn = random.integers(shape[0], size=(count, shape[0])) + np.arange(count)[:, None] * shape[0]
        weights = np.bincount(drawn.ravel(), minlength=count * shape[0]).reshape(count, shape[0])
        of = weights @ photos
        share = np.divide(weights @ gained, of, out=np.full(of.shape, np.nan), where=of > 0)
        found.append(np.nanmean(share, axis=1))
    tail = (1 - level) / 2
    low, high = np.quantile(np.concatenate(found), [tail, 1 - tail])
    value = float((gained.sum(axis=0) / photos.sum(axis=0)).mean())
    return Difference(value, float(low), float(high))
