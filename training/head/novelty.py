"""Pretend that a class was never learned, and see how strange its photos look."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from sklearn.metrics import roc_auc_score

from model.photo import Calibration, Classifier, fit_statistics

Array = NDArray[np.float64]
Labelled = tuple[Array, Sequence[str]]


def strangeness_left_out(calibration: Calibration, fit: Labelled, judge: Labelled) -> Array:
    """Strangeness of the photos of ``judge`` when their own class was never learned.

    For each class, a head is made without it from ``fit``, photos that share no group with
    ``judge``. Returns float (photos of judge,).
    """
    (x, labels), (judge_x, judge_labels) = fit, judge
    truth, judged = np.array(labels), np.array(judge_labels)
    found = np.zeros(len(judge_x))
    for name in sorted(set(labels)):
        here = judged == name
        if not here.any():
            continue
        without = fit_statistics(x[truth != name], list(truth[truth != name]))
        found[here] = Classifier(without, calibration).strangeness(judge_x[here])
    return found


def auroc_by_class(known: Array, novel: Array, labels: Sequence[str]) -> dict[str, float]:
    """How well strangeness tells a class never learned from the others: 0.5 is chance, 1 perfect."""
    truth = np.array(labels)
    found = {}
    for name in sorted(set(labels)):
        here = truth == name
        y = np.concatenate([np.ones(here.sum()), np.zeros((~here).sum())])
        found[name] = float(roc_auc_score(y, np.concatenate([novel[here], known[~here]])))
    return found
