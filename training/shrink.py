"""Choose how far the covariance of the closed-form head is shrunk, in folds that keep groups whole."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from sklearn.model_selection import StratifiedGroupKFold

from model.photo import Discriminant, fit_statistics

Array = NDArray[np.float64]


def choose_shrinkage(
    x: Array, labels: Sequence[str], groups: Sequence[str], grid: Sequence[float], folds: int, seed: int
) -> tuple[float, dict[float, float]]:
    """The shrinkage with the best balanced accuracy in folds that keep groups whole.

    ``x`` float (photos, features), of the fit part only. Returns the choice, and for each
    value the balanced accuracy (0-1, higher is better), out of sample.
    """
    truth = np.array(labels)
    right: dict[float, list[NDArray[np.bool_]]] = {value: [] for value in grid}
    seen: list[NDArray[np.str_]] = []
    splitter = StratifiedGroupKFold(n_splits=folds, shuffle=True, random_state=seed)
    for learn, check in splitter.split(x, truth, np.array(groups)):
        statistics = fit_statistics(x[learn], list(truth[learn]))
        seen.append(truth[check])
        for value in grid:
            head = Discriminant(statistics, value)
            said = np.array(head.classes)[head.scores(x[check]).argmax(axis=1)]
            right[value].append(said == truth[check])
    all_seen = np.concatenate(seen)
    balanced = {
        v: float(np.mean([np.concatenate(r)[all_seen == c].mean() for c in sorted(set(labels))]))
        for v, r in right.items()
    }
    return max(balanced, key=lambda v: balanced[v]), balanced
