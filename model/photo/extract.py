"""From a photo to its features: the same object in training and in use."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from model.photo.decode import WORKING_SIDE, Photo
from model.photo.graph import Engine
from model.photo.views import LARGE_SIDE, NEAR, SIDE, views
from model.photo.weights import WEIGHTS_SHA256, Weights, load_weights

Array = NDArray[np.float64]
# Whatever changes the features of a photo is part of this name; models carry the one they were made with.
RECIPE = f"lite0-{WEIGHTS_SHA256[:16]}-{WORKING_SIDE}-{SIDE}-{LARGE_SIDE}-{NEAR}"


class Extractor:
    """From photos to features, by a network that is loaded once.

    ``name`` stands for all that its features depend on. ``parts`` are the extractors whose
    features stand side by side: only itself.
    """

    def __init__(self, weights: Weights | None = None, threads: int | None = None, name: str = RECIPE) -> None:
        self.name = name
        self._engine = Engine(load_weights() if weights is None else weights, threads)

    @property
    def parts(self) -> tuple[Extractor, ...]:
        """The extractors whose features stand side by side."""
        return (self,)

    def features(self, photo: Photo) -> Array:
        """Square roots of the pooled features averaged over views, float (1280,)."""
        return self.features_of_views(views(photo.pixels))

    def features_of_views(self, stacks: tuple[NDArray[np.float32], ...]) -> Array:
        """The same from views that are cut already."""
        return np.asarray(np.sqrt(self._engine.pooled(*stacks).mean(axis=0, dtype=np.float64)))


class SideBySide(Extractor):
    """Several extractors, each of which looks at the same views; their features stand side by side."""

    def __init__(self, parts: Sequence[Extractor]) -> None:
        self.name = "+".join(part.name for part in parts)
        self._parts = tuple(parts)

    @property
    def parts(self) -> tuple[Extractor, ...]:
        """In the order of the features."""
        return self._parts

    def features_of_views(self, stacks: tuple[NDArray[np.float32], ...]) -> Array:
        """Features of all parts, float (parts x 1280,)."""
        return np.concatenate([part.features_of_views(stacks) for part in self._parts])
