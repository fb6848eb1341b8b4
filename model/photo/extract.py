"""From a photo to its features: the same object in training and in use."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from model.photo.backbone import WEIGHTS_SHA256, Lite0, load_backbone
from model.photo.decode import WORKING_SIDE, Photo
from model.photo.graph import Engine
from model.photo.views import LARGE_SIDE, NEAR, SIDE, views

Array = NDArray[np.float64]
# Whatever changes the features of a photo is part of this name; models carry the one they were made with.
RECIPE = f"lite0-{WEIGHTS_SHA256[:16]}-{WORKING_SIDE}-{SIDE}-{LARGE_SIDE}-{NEAR}"


class Extractor:
    """From photos to features, by a network that is loaded once."""

    def __init__(self, backbone: Lite0 | None = None, threads: int | None = None) -> None:
        state = (backbone or load_backbone()).state_dict()
        self._engine = Engine({name: tensor.numpy() for name, tensor in state.items()}, threads)

    def features(self, photo: Photo) -> Array:
        """Square roots of the pooled features averaged over views, float (1280,)."""
        return self.features_of_views(views(photo.pixels))

    def features_of_views(self, stacks: tuple[NDArray[np.float32], ...]) -> Array:
        """The same from views that are cut already."""
        pooled = np.concatenate([self._engine.pooled(stack) for stack in stacks])
        return np.asarray(np.sqrt(pooled.mean(axis=0, dtype=np.float64)))
