"""Made-up features of photos: of a species as the starter knows it; of a new one beside what it knows."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from model.photo.saved import STARTER, read_model
from model.photo.weights import FEATURES
from training.data.dataset import Data
from training.data.manifest import LabelledPhoto

Array = NDArray[np.float64]
PARTS = ("fit", "fit", "held_out", "conformal", "held_out", "calibrate")  # of the photos of a species, in turn


@cache
def spread() -> Array:
    """What turns white noise into photos of one class."""
    known = read_model(STARTER)[0]
    freedom = known.counts.sum() - len(known.classes)
    return np.asarray(np.linalg.cholesky(known.scatter / freedom + 1e-6 * np.eye(FEATURES)))


def centre(name: str) -> Array:
    """The mean of a class."""
    known = read_model(STARTER)[0]
    if name in known.classes:
        return np.asarray(known.means[known.classes.index(name)])
    push = np.random.default_rng(sum(map(ord, name))).normal(0, 1, FEATURES)
    return np.asarray(known.means.mean(axis=0) + spread() @ push * (14 / np.linalg.norm(push)))


def made_up_photos(names: Sequence[str], each: int, seed: int, folder: Path | None = None) -> Data:
    """``each`` photos of each class, each in a group of its own; with files in ``folder``, to be known by."""
    chance, labels = np.random.default_rng(seed), [name for name in names for _ in range(each)]
    middle = np.repeat([centre(name) for name in names], each, axis=0)
    photos = []
    for i, label in enumerate(labels):
        name = f"{seed} {i}.jpg"
        if folder is not None:
            (folder / name).write_bytes(name.encode())
        photos.append(LabelledPhoto((folder or Path()) / name, name, label, f"{seed} {i}", True, "mine", "me", "x"))
    parts = np.array([PARTS[i % len(PARTS)] for i in range(len(labels))])
    return Data(middle + chance.normal(0, 1, (len(labels), FEATURES)) @ spread().T, tuple(photos), parts)
