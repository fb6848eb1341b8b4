"""A second network, fine-tuned on the user's own photos, beside the one that was shipped.

The shipped one keeps all that the starter knows, and gives the novelty score. Among the classes
that the user has photos of, three heads speak: the closed-form one of the shipped network, and of the other network
a closed-form one and the linear one that it was tuned with. Their log-probabilities are added up with
weights that were fitted on calibration photos (a log-linear pool).
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from safetensors.numpy import save_file

from model.errors import ModelError
from model.file import read_file
from model.flora.species import Entry
from model.photo.evidence import Calibration, Classifier
from model.photo.extract import RECIPE, Extractor, Network
from model.photo.head import Discriminant, Statistics, softmax
from model.photo.saved import (
    MOST_NUMBER,
    Classes,
    Share,
    Weight,
    packed,
    read_arrays,
    read_description,
    read_model,
    unpacked,
)
from model.photo.weights import FEATURES, read_shipped

Array = NDArray[np.float64]
NETWORK, FILE, DESCRIPTION = "tuned.onnx", "tuned.safetensors", "tuned.json"
UNSEEN = "unseen-"  # begins the names of the same files as they were before the held-out photos were learned
LEAST = 1e-4  # added to pooled features before the square root that the linear head learns on
LARGEST_NETWORK = 40_000_000  # bytes; ours take 14 MB


@dataclass(frozen=True)
class Tuned:
    """``network``: the bytes of its ONNX file. ``statistics`` of its features, and its linear head.

    ``linear`` are weights float (classes, FEATURES), classes as in ``statistics``, and ``offsets`` (classes,).
    ``weights`` multiply the log-probabilities of the shipped network, the log-densities of this one, and the logits
    of the linear head.
    """

    network: bytes
    statistics: Statistics
    shrinkage: float
    linear: Array
    offsets: Array
    weights: tuple[float, float, float]


def linear_logits(z: Array, linear: Array, offsets: Array) -> Array:
    """Logits of a linear head, float (photos, classes), by features of its network ``z``, float (photos, FEATURES)."""
    return np.asarray(np.sqrt(z**2 + LEAST) @ linear.T + offsets)


def network_of(data: bytes, threads: int | None = None) -> Network:
    """A fine-tuned network from the bytes of its file. Raises ModelError where it is none."""
    try:
        return Network(data, name_of(data), threads)
    except ModelError as error:
        raise ModelError(f"{NETWORK}: {error}; use another model") from None


def name_of(network: bytes) -> str:
    """Stands for all that the features of a network depend on."""
    return f"tuned-{hashlib.sha256(RECIPE.encode() + network).hexdigest()[:24]}"


class TunedClassifier(Classifier):
    """A classifier over the features of both networks, float (photos, 2 x FEATURES)."""

    def __init__(self, statistics: Statistics, calibration: Calibration, tuned: Tuned) -> None:
        super().__init__(statistics, calibration)
        self.tuned = tuned
        self._tuned_head = Discriminant(tuned.statistics, tuned.shrinkage)
        self._shared = [statistics.classes.index(name) for name in tuned.statistics.classes]

    def with_statistics(self, statistics: Statistics) -> TunedClassifier:
        """The same calibration and second network with other statistics in the head of the shipped one's features."""
        return TunedClassifier(statistics, self.calibration, self.tuned)

    def logs(self, x: Array) -> Array:
        """ln P(class | photo) up to a constant a photo: what both networks say, each class keeping its prior."""
        logs = super().logs(x)
        own, prior, z = logs[:, self._shared], self.log_prior[self._shared], x[:, FEATURES:]
        linear = linear_logits(z, self.tuned.linear, self.tuned.offsets)
        said = pool((own, self._tuned_head.scores(z) + prior, linear + prior), self.tuned.weights)
        most = own.max(axis=1, keepdims=True)
        together = most + np.log(np.exp(own - most).sum(axis=1, keepdims=True))
        logs[:, self._shared] = together + np.log(np.maximum(said, 1e-300))
        return logs


def pool(logs: Sequence[Array], weights: Sequence[float]) -> Array:
    """Probabilities from several sets of logs, float (photos, classes) each; rows sum to 1.

    >>> pool([np.array([[0.0, 1.0]]), np.array([[5.0, 5.0]])], [0.0, 1.0])
    array([[0.5, 0.5]])
    """
    return softmax(sum((weight * one for weight, one in zip(weights, logs, strict=True)), start=np.zeros(1)))


class TunedDescription(Entry):
    """tuned.json: classes in the order of the rows, and the weights of the pool."""

    classes: Classes
    features: str
    shrinkage: Share
    weights: tuple[Weight, Weight, Weight]


def save_tuned(folder: Path, tuned: Tuned, begin: str = "") -> None:
    """Add the second network to the folder of a model; ``begin`` begins the names of its files."""
    (folder / f"{begin}{NETWORK}").write_bytes(tuned.network)
    head = {"linear": tuned.linear.astype(np.float32), "offsets": tuned.offsets.astype(np.float32)}
    save_file(packed(tuned.statistics) | head, folder / f"{begin}{FILE}")
    description = TunedDescription(
        classes=list(tuned.statistics.classes),
        features=name_of(tuned.network),
        shrinkage=tuned.shrinkage,
        weights=tuned.weights,
    )
    (folder / f"{begin}{DESCRIPTION}").write_text(description.model_dump_json(indent=2) + "\n", encoding="utf-8")


def read_tuned(folder: Path, begin: str = "") -> Tuned | None:
    """The second network of a model; None where it has none. Raises ModelError naming the file that is wrong."""
    network_file, file, path = (folder / f"{begin}{name}" for name in (NETWORK, FILE, DESCRIPTION))
    if not any(one.exists() for one in (network_file, file, path)):
        return None
    described = read_description(path, TunedDescription, "a network")
    try:
        network = read_file(network_file, LARGEST_NETWORK)
        if name_of(network) != described.features:
            raise ModelError(f"{path}: was made with other views or another network; train it again")
        network_of(network, 1)
    except FileNotFoundError:  # before, only what differs from the shipped network was kept
        raise ModelError(f"{folder}: was tuned by an older version of swardkey; train --recipe full again") from None
    except OSError as error:
        raise ModelError(f"{network_file}: cannot be read ({error.strerror}); use another model") from None
    arrays = read_arrays(file)
    linear, offsets = (arrays.pop(name, np.zeros(0)).astype(np.float64) for name in ("linear", "offsets"))
    statistics, classes = unpacked(file, arrays, tuple(described.classes)), len(described.classes)
    fits = linear.shape == (classes, FEATURES) and offsets.shape == (classes,)
    if not fits or max(np.abs(linear).max(), np.abs(offsets).max()) > MOST_NUMBER:
        raise ModelError(f"{file}: has no linear head of {classes} classes; use another model")
    return Tuned(network, statistics, described.shrinkage, linear, offsets, described.weights)


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


def extractor_with(network: bytes) -> Extractor:
    """What makes the features of a fine-tuned network alone. Raises ModelError where it is none."""
    return Extractor((network_of(network),))


def extractor_for(classifier: Classifier, threads: int | None = None) -> Extractor:
    """What makes the features that a classifier goes by."""
    if not isinstance(classifier, TunedClassifier):
        return Extractor(threads=threads)
    shipped = Network(read_shipped(), threads=threads)
    return Extractor((shipped, network_of(classifier.tuned.network, threads)))
