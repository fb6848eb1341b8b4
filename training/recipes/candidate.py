"""What a recipe is given to make a model from, and the model that it makes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.photo.evidence import Classifier
from training.data.dataset import Data
from training.data.duplicates import Cluster
from training.head.fit import Learned
from training.recipes.recipe import Recipe

Array = NDArray[np.float64]
Progress = Callable[[str, int, int], None]  # the stage, how much of it is done, and how much it is


@dataclass(frozen=True)
class Training:
    """The recipe; photos in parts, with the shipped network's features; and the head fitted on them.

    ``clusters``: photos that are one picture, as they were found before the split.
    ``cache`` is the file of features that are kept; what else a recipe keeps to resume from lies beside it.
    """

    name: str
    recipe: Recipe
    data: Data
    learned: Learned
    clusters: Sequence[Cluster]
    cache: Path
    progress: Progress


@dataclass(frozen=True)
class Candidate:
    """A new model: as it was calibrated, as it is judged, and as it would be activated.

    ``judged`` has learned from all photos but those held out, ``whole`` from these too, by an
    exact update of its closed-form heads. ``made_of``: what it is, for its card; ``account`` goes into
    recipe.json. ``x``: features of all photos as ``judged`` and ``calibrated`` go by them, where they are not those of
    the training. ``kept``: a folder to resume from, of no use once it is activated.
    """

    calibrated: Classifier
    judged: Classifier
    whole: Classifier
    made_of: str
    account: Mapping[str, Any] = field(default_factory=dict)
    x: Array | None = None
    kept: Path | None = None
