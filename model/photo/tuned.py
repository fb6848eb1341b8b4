"""A second network, fine-tuned on the user's own photos, beside the one that was shipped.

The shipped one keeps all that the starter knows, and judges what is strange. Among the classes
that the user has photos of, both networks speak: their log-probabilities are added up with
two weights that were fitted on calibration photos (a log-linear pool).
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict
from safetensors.numpy import save_file

from model.errors import ModelError
from model.photo.evidence import Calibration, Classifier
from model.photo.extract import RECIPE, Extractor, SideBySide
from model.photo.head import Discriminant, Statistics, softmax
from model.photo.saved import Classes, Share, Weight, packed, read_arrays, read_description, read_model, unpacked
from model.photo.weights import FEATURES, load_weights
from model.photo.weights import Weights as Whole

Array = NDArray[np.float64]
Weights = Mapping[str, NDArray[np.float16]]
FILE, DESCRIPTION = "tuned.safetensors", "tuned.json"
NETWORK = "network."


@dataclass(frozen=True)
class Tuned:
    """``weights``: what differs from the shipped network, by name, float16. ``statistics`` of its features.

    ``shipped_weight`` and ``tuned_weight`` multiply the log-probabilities of the shipped network
    and the log-densities of this one.
    """

    weights: Weights
    statistics: Statistics
    shrinkage: float
    shipped_weight: float
    tuned_weight: float


def name_of(weights: Weights) -> str:
    """Stands for all that the features of a network with these weights depend on."""
    digest = hashlib.sha256(RECIPE.encode())
    for name, array in sorted(weights.items()):
        digest.update(name.encode() + array.tobytes())
    return f"tuned-{digest.hexdigest()[:24]}"


def extractor_with(weights: Weights, threads: int | None = None) -> Extractor:
    """What makes the features of a network with these weights."""
    return Extractor(with_weights(load_weights(), weights), threads, name_of(weights))


def with_weights(shipped: Whole, weights: Weights) -> Whole:
    """The shipped network's weights with some of them replaced. Raises ModelError where one does not fit."""
    for name, array in weights.items():
        if name not in shipped or shipped[name].shape != array.shape:
            raise ModelError(f"{FILE}: {name} does not belong to the network; use another model")
    return {**shipped, **{name: array.astype(np.float32) for name, array in weights.items()}}


class TunedClassifier(Classifier):
    """A classifier over the features of both networks, float (photos, 2 x FEATURES)."""

    def __init__(self, statistics: Statistics, calibration: Calibration, tuned: Tuned) -> None:
        super().__init__(statistics, calibration)
        self.tuned = tuned
        self._tuned_head = Discriminant(tuned.statistics, tuned.shrinkage)
        self._shared = [statistics.classes.index(name) for name in tuned.statistics.classes]

    def logs(self, x: Array, distances: Array) -> Array:
        """ln P(class | photo) up to a constant a photo: what both networks say, each class keeping its prior."""
        logs = super().logs(x, distances)
        own = logs[:, self._shared]
        said = self._tuned_head.scores(x[:, FEATURES:]) + self.log_prior[self._shared]
        both = pool(own, said, self.tuned.shipped_weight, self.tuned.tuned_weight)
        most = own.max(axis=1, keepdims=True)
        together = most + np.log(np.exp(own - most).sum(axis=1, keepdims=True))
        logs[:, self._shared] = together + np.log(np.maximum(both, 1e-300))
        return logs


def pool(shipped: Array, tuned: Array, shipped_weight: float, tuned_weight: float) -> Array:
    """Probabilities from two sets of logs, float (photos, classes) each; rows sum to 1.

    >>> pool(np.array([[0.0, 1.0]]), np.array([[5.0, 5.0]]), 0.0, 1.0)
    array([[0.5, 0.5]])
    """
    return softmax(shipped_weight * shipped + tuned_weight * tuned)


class TunedDescription(BaseModel):
    """tuned.json: classes in the order of the rows, and the weights of the pool."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    classes: Classes
    features: str
    shrinkage: Share
    shipped_weight: Weight
    tuned_weight: Weight


def save_tuned(folder: Path, tuned: Tuned) -> None:
    """Add the second network to the folder of a model."""
    arrays = packed(tuned.statistics) | {NETWORK + name: array for name, array in tuned.weights.items()}
    save_file(arrays, folder / FILE)
    description = TunedDescription(
        classes=list(tuned.statistics.classes),
        features=name_of(tuned.weights),
        shrinkage=tuned.shrinkage,
        shipped_weight=tuned.shipped_weight,
        tuned_weight=tuned.tuned_weight,
    )
    (folder / DESCRIPTION).write_text(description.model_dump_json(indent=2) + "\n", encoding="utf-8")


def read_tuned(folder: Path) -> Tuned | None:
    """The second network of a model; None where it has none. Raises ModelError naming the file that is wrong."""
    path = folder / DESCRIPTION
    if not path.exists() and not (folder / FILE).exists():
        return None
    described = read_description(path, TunedDescription, "a network")
    arrays = read_arrays(folder / FILE)
    weights = {n.removeprefix(NETWORK): arrays.pop(n) for n in list(arrays) if n.startswith(NETWORK)}
    if any(array.dtype != np.float16 for array in weights.values()):
        raise ModelError(f"{folder / FILE}: holds weights that are not 16-bit numbers; use another model")
    statistics = unpacked(folder / FILE, arrays, tuple(described.classes))
    tuned = Tuned(weights, statistics, described.shrinkage, described.shipped_weight, described.tuned_weight)
    if name_of(weights) != described.features:
        raise ModelError(f"{path}: was made with other views or another network; train it again")
    return tuned


def read_classifier(folder: Path) -> Classifier:
    """The classifier in a folder, of one network or two, tried once. Raises ModelError naming what is wrong."""
    try:
        with np.errstate(all="ignore"):
            classifier = _read(folder)
            trial = np.zeros((1, FEATURES * (2 if isinstance(classifier, TunedClassifier) else 1)))
            said = np.append(classifier.probabilities(trial), classifier.novelty_ratio(trial))
    except (np.linalg.LinAlgError, ZeroDivisionError):
        said = np.array(np.nan)
    if not np.isfinite(said).all():
        raise ModelError(f"{folder}: its numbers fit no head (the spread of the photos is none); use another model")
    return classifier


def _read(folder: Path) -> Classifier:
    statistics, calibration = read_model(folder)
    tuned = read_tuned(folder)
    if tuned is None:
        return Classifier(statistics, calibration)
    gone = [name for name in tuned.statistics.classes if name not in statistics.classes]
    if gone:
        raise ModelError(f"{folder / DESCRIPTION}: {gone[0]} is not in {folder / 'model.json'}; use another model")
    return TunedClassifier(statistics, calibration, tuned)


def extractor_for(classifier: Classifier, threads: int | None = None) -> Extractor:
    """What makes the features that a classifier goes by."""
    if isinstance(classifier, TunedClassifier):
        return SideBySide((Extractor(threads=threads), extractor_with(classifier.tuned.weights, threads)))
    return Extractor(threads=threads)
