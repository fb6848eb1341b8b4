"""Pretend that a class was never learned, and see how strange its photos look."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from sklearn.metrics import roc_auc_score

from model.photo import Calibration, Classifier, Discriminant, fit_statistics
from training.calibrate import typical_distances

Array = NDArray[np.float64]
Labelled = tuple[Array, Sequence[str]]


def strangeness(classifier: Classifier, x: Array) -> Array:
    """Strangeness of photos, float (photos,); 0 is ordinary, higher is stranger."""
    distances = classifier.distances(x)
    return classifier.strangeness(distances, classifier.closed(x, distances))


def strangeness_left_out(calibration: Calibration, fit: Labelled, calibrate: Labelled, judge: Labelled) -> Array:
    """Strangeness of the photos of ``judge`` when their own class was never learned.

    For each class, head and typical distances are made without it from ``fit`` and
    ``calibrate``, two sets of photos that share no group with ``judge`` or with each other
    unless ``judge`` is ``calibrate``. Returns float (photos of judge,).
    """
    (x, labels), (check_x, check_labels), (judge_x, judge_labels) = fit, calibrate, judge
    truth, check, judged = np.array(labels), np.array(check_labels), np.array(judge_labels)
    found = np.zeros(len(judge_x))
    for name in sorted(set(labels)):
        here = judged == name
        if not here.any():
            continue
        without = fit_statistics(x[truth != name], list(truth[truth != name]))
        head = Discriminant(without, calibration.shrinkage)
        typical = typical_distances(head, check_x[check != name], list(check[check != name]))
        found[here] = strangeness(Classifier(without, replace(calibration, typical=typical)), judge_x[here])
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
