"""What a saved model says of held-out photos: read from its folder, as it will be in use."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationError

from model.errors import ModelError
from model.photo import Classifier, Extractor, open_photo
from model.photo.evidence import OTHER
from model.photo.extract import RECIPE
from model.photo.head import softmax
from model.photo.saved import Description
from model.photo.tuned import read_classifier
from training.data.manifest import LabelledPhoto
from training.gate.evidence import Judged

Array = NDArray[np.float64]


def judge(name: str, folder: Path, x: Array, labels: Sequence[str], golden: Array | None = None) -> Judged:
    """Judge a model folder on held-out photos. ``x``, ``golden`` float (photos, features), by its own backbone.

    ``name`` is what the registry calls it. Raises ModelError when the folder cannot be read.
    """
    return judge_classifier(name, read_classifier(folder), x, labels, golden)


def judge_classifier(
    name: str, classifier: Classifier, x: Array, labels: Sequence[str], golden: Array | None = None
) -> Judged:
    """The same for a model in memory; its file may round what it holds, so folders are judged for promotion."""
    return Judged(
        name=name,
        species=classifier.species,
        probabilities=classifier.probabilities(x),
        other_left_out=other_left_out(classifier, x, labels),
        golden=None if golden is None else classifier.probabilities(golden),
    )


def other_left_out(classifier: Classifier, x: Array, labels: Sequence[str]) -> Array:
    """P(other) of photos as if their own class had no row in the head, float (photos,); high is right.

    Needs no photos that were learned from, so that two models can be compared which learned
    from different ones. The spread within classes still holds the class, which flatters both
    alike. NaN where the model does not have the class.
    """
    classes = classifier.statistics.classes
    kept = np.array([label in classes for label in labels], dtype=bool)
    own = np.array([classes.index(label) if label in classes else 0 for label in labels], dtype=np.int64)
    rows = np.arange(len(x))
    distances = classifier.distances(x)
    logs = classifier.logs(x, distances)
    logs[rows, own] = -np.inf
    closed = softmax(logs)
    # The classifier's own formula for odds, from the strangeness that is left.
    strange = classifier.strangeness(x, own)
    odds = classifier.novel_prior / (1 - classifier.novel_prior) * classifier.ratio(strange)
    species = [i for i, name in enumerate(classes) if not name.startswith(OTHER)]
    return np.where(kept, 1.0 - closed[:, species].sum(axis=1) / (1.0 + odds), np.nan)


def classes_of(folder: Path) -> tuple[str, ...]:
    """The names of the head's rows, in the order in which a model folder has them."""
    return tuple(_description(folder).classes)


def views_of(folder: Path) -> str:
    """What prepares photos for a saved model: its backbone and how views are cut."""
    return _description(folder).features


def views_served() -> str:
    """The same for the code that looks at photos in use."""
    return RECIPE


def skew_of(photos: Sequence[LabelledPhoto], x: Array, extractor: Extractor, most: int = 8) -> float:
    """Largest difference between features as given and as they are made in use, on up to ``most`` photos.

    ``x`` float (photos, features), in step with ``photos``; evenly chosen ones are looked at anew.
    """
    rows = np.unique(np.linspace(0, len(photos) - 1, min(most, len(photos))).round().astype(int))
    served = np.stack([extractor.features(open_photo(photos[row].file)) for row in rows])
    return float(np.abs(served - x[rows]).max())


def _description(folder: Path) -> Description:
    path = folder / "model.json"
    try:
        return Description.model_validate_json(path.read_bytes())
    except (OSError, ValidationError):
        raise ModelError(f"{path}: does not describe a model; use another") from None
