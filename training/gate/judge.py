"""What a model says of held-out photos, and whether photos are prepared in training as they are in use."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from model.photo.evidence import Classifier
from model.photo.extract import Extractor
from model.photo.sandbox import open_photo
from training.data.manifest import LabelledPhoto
from training.gate.evidence import Judged

Array = NDArray[np.float64]


def judge(name: str, classifier: Classifier, x: Array, labels: Sequence[str]) -> Judged:
    """Judge a model on held-out photos; ``x`` float (photos, features), by its own network."""
    return Judged(name, classifier.species, classifier.probabilities(x), other_left_out(classifier, x, labels))


def other_left_out(classifier: Classifier, x: Array, labels: Sequence[str]) -> Array:
    """P(other) of photos as if their own class had no row in the head, float (photos,); high is right.

    Needs no photos that were learned from, so that two models can be compared which learned
    from different ones. The scatter within classes still holds the class, which flatters both
    alike. NaN where the model does not have the class.
    """
    classes = classifier.statistics.classes
    kept = np.array([label in classes for label in labels], dtype=bool)
    own = np.array([classes.index(label) if label in classes else 0 for label in labels], dtype=np.int64)
    logs = classifier.logs(x)
    logs[np.arange(len(x)), own] = -np.inf
    return np.where(kept, classifier.with_other(logs, classifier.novelty(x, own))[:, -1], np.nan)


def skew_of(photos: Sequence[LabelledPhoto], x: Array, extractor: Extractor, most: int = 8) -> float:
    """Largest difference between features as given and as they are made in use, on up to ``most`` photos.

    ``x`` float (photos, features), in step with ``photos``; evenly chosen ones are looked at anew.
    """
    rows = np.unique(np.linspace(0, len(photos) - 1, min(most, len(photos))).round().astype(int))
    served = np.stack([extractor.features(open_photo(photos[row].file)) for row in rows])
    return float(np.abs(served - x[rows]).max())
