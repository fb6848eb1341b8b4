"""From a photo to its features: the same object in training and in use."""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from model.errors import ModelError
from model.photo.decode import WORKING_SIDE, Photo
from model.photo.onnx_file import fault_of_network
from model.photo.runtime import onnxruntime
from model.photo.views import LARGE_SIDE, NEAR, SIDE, views
from model.photo.weights import FEATURES, SHIPPED_NAME, read_shipped

Array = NDArray[np.float64]
Stacks = Sequence[NDArray[np.float32]]
# Whatever changes the features of a photo is part of this name; models carry the one they were made with.
RECIPE = f"{SHIPPED_NAME}-{WORKING_SIDE}-{SIDE}-{LARGE_SIDE}-{NEAR}"
TRIAL_SIDE = 64  # px


class Network:
    """A network, run by several threads, each of which takes one view after another.

    Threads that share a view would wait for one another at every layer, and on a busy machine
    wait long. Results do not depend on the number of threads.
    """

    def __init__(self, data: bytes, name: str = RECIPE, threads: int | None = None) -> None:
        """From the bytes of an ONNX file; ``name`` stands for all that its features depend on.

        It maps `views` float32 (n, 3, h, w) in -1..1, h and w multiples of 32, to `features` float32 (n, FEATURES).
        Raises ModelError, in words that follow the name of the file, when it is not such a network.
        """
        if fault := fault_of_network(data):
            raise ModelError(f"is not one of our networks ({fault})")
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        options.log_severity_level = 4
        try:
            self._session = onnxruntime.InferenceSession(data, options, providers=["CPUExecutionProvider"])
            trial = self._pooled(np.zeros((3, TRIAL_SIDE, TRIAL_SIDE), np.float32))
        except Exception as error:  # what the runtime raises has no other root
            raise ModelError(f"cannot be run ({str(error).splitlines()[0][:200]})") from None
        if trial.shape != (FEATURES,) or trial.dtype != np.float32 or not (np.isfinite(trial) & (trial >= 0)).all():
            raise ModelError(f"does not give {FEATURES} features")
        self.name = name
        self._threads = ThreadPoolExecutor(threads or _processors(), "features")

    def features_of_views(self, stacks: Stacks) -> Array:
        """Square roots of the pooled features averaged over views in stacks (m, 3, side, side): float (FEATURES,)."""
        pooled = list(self._threads.map(self._pooled, (view for stack in stacks for view in stack)))
        return np.asarray(np.sqrt(np.stack(pooled).mean(axis=0, dtype=np.float64)))

    def _pooled(self, view: NDArray[np.float32]) -> NDArray[np.float32]:
        return np.asarray(self._session.run(["features"], {"views": view[None]})[0][0])


class Looks(Protocol):
    """What makes features of views; ``name`` stands for all that they depend on."""

    name: str

    def features_of_views(self, stacks: Stacks) -> Array:
        """Square roots of the pooled features averaged over views in stacks (m, 3, side, side): float (FEATURES,)."""


class Extractor:
    """From photos to features by networks that are loaded once, whose features stand side by side.

    ``parts`` are the networks, the shipped one where none are given; ``name`` stands for all of them.
    """

    def __init__(self, parts: Sequence[Looks] = (), threads: int | None = None) -> None:
        self.parts: tuple[Looks, ...] = tuple(parts) or (Network(read_shipped(), threads=threads),)
        self.name = "+".join(part.name for part in self.parts)

    def features(self, photo: Photo) -> Array:
        """Features of an opened photo, float (parts x FEATURES,)."""
        return self.features_of_views(views(photo.pixels))

    def features_of_views(self, stacks: Stacks) -> Array:
        """The same from views that are cut already."""
        return np.concatenate([part.features_of_views(stacks) for part in self.parts])


def _processors() -> int:
    """Processors that this process may use, which may be fewer than the machine has."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on Windows and macOS
        return os.cpu_count() or 1
