"""Labelled photos with their features and the part of the split that each belongs to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.data.manifest import LabelledPhoto

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Data:
    """Features, float (photos, features), with the photos and their parts in the same order."""

    x: Array
    photos: tuple[LabelledPhoto, ...]
    parts: NDArray[np.str_]

    def part(self, *names: str) -> Data:
        """The photos of some parts."""
        return self.where(np.isin(self.parts, names))

    def where(self, keep: NDArray[np.bool_]) -> Data:
        """The photos where ``keep`` holds."""
        return Data(self.x[keep], tuple(p for p, k in zip(self.photos, keep, strict=True) if k), self.parts[keep])

    @property
    def labels(self) -> list[str]:
        """Label of each photo: a species id, or `other:<kind>`."""
        return [p.label for p in self.photos]

    @property
    def groups(self) -> list[str]:
        """Group of each photo."""
        return [p.group for p in self.photos]

    def truth(self, species: Sequence[str]) -> NDArray[np.int64]:
        """The right column of each photo: that of its species, or the last one for everything else."""
        columns = {s: i for i, s in enumerate(species)}
        return np.array([columns.get(p.label, len(species)) for p in self.photos], dtype=np.int64)
