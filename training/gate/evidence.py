"""What a comparison of two models rests on: the same held-out photos, and how the new model came about."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from model.errors import CollectionError
from training.data.manifest import LabelledPhoto
from training.head.conformal import LacSets

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Part:
    """Photos that were used for one step: the group and the sha256 of each, in step."""

    groups: tuple[str, ...] = ()
    sha256: tuple[str, ...] = ()

    @classmethod
    def of(cls, photos: Sequence[LabelledPhoto]) -> Part:
        """Groups of photos, and the sha256 of their files. Raises CollectionError for a file that cannot be read."""
        try:
            digests = tuple(photo.sha256 for photo in photos)
        except OSError as error:
            raise CollectionError(f"{error.filename}: cannot be read ({error.strerror}); restore it") from None
        return cls(tuple(photo.group for photo in photos), digests)

    def __add__(self, other: Part) -> Part:
        return Part(self.groups + other.groups, self.sha256 + other.sha256)


@dataclass(frozen=True)
class Judged:
    """What one model says of the held-out photos, as it would say it in use.

    ``name`` as the registry has it; ``species`` the columns of ``probabilities``, float
    (photos, species + 1), calibrated, the last is other. ``other_left_out`` float (photos,):
    what other would get if the photo's own class had been left out of the head, NaN where the
    model never learned it.
    """

    name: str
    species: tuple[str, ...]
    probabilities: Array
    other_left_out: Array | None = None

    def where(self, keep: NDArray[np.bool_]) -> Judged:
        """The photos where ``keep`` holds."""
        left_out = None if self.other_left_out is None else self.other_left_out[keep]
        return replace(self, probabilities=self.probabilities[keep], other_left_out=left_out)

    def in_columns(self, species: tuple[str, ...]) -> Array:
        """Probabilities over ``species`` and other: what this model gives to any further species counts as other."""
        found = np.zeros((len(self.probabilities), len(species) + 1))
        for column, name in enumerate(self.species):
            found[:, species.index(name) if name in species else -1] += self.probabilities[:, column]
        found[:, -1] += self.probabilities[:, -1]
        return found


@dataclass(frozen=True)
class Origin:
    """How the new model came about, as far as that can spoil a comparison.

    ``learned``: all photos that anything was fitted on; ``held_out``: those it is judged on;
    ``near_duplicates``: how many of these look the same as one that was learned from.
    ``fitted_classes``: the order in which the head was fitted; ``saved_classes``: the order in
    its folder. ``views_fitted``, ``views_served``: what prepares a photo, in training and in
    use; ``skew``: the largest difference between features of the same photos in the two.
    None means that it could not be checked.
    """

    learned: Part
    held_out: Part
    near_duplicates: int | None
    fitted_classes: tuple[str, ...]
    saved_classes: tuple[str, ...]
    views_fitted: str
    views_served: str
    skew: float | None


@dataclass(frozen=True)
class HeldOut:
    """Both models on the same photos. ``labels``: species id or `other:<kind>` of each; ``groups`` in step.

    ``sets`` are those of the new model; ``simulated``: both on features drawn from the starter's statistics.
    Raises ValueError where lengths do not fit together.
    """

    labels: tuple[str, ...]
    groups: tuple[str, ...]
    old: Judged
    new: Judged
    sets: LacSets | None
    origin: Origin
    simulated: HeldOut | None = None

    def __post_init__(self) -> None:
        n = len(self.labels)
        for what, count in (
            ("groups", len(self.groups)),
            (f"probabilities of {self.old.name}", len(self.old.probabilities)),
            (f"probabilities of {self.new.name}", len(self.new.probabilities)),
        ):
            if count != n:
                raise ValueError(f"{n} labels and {count} {what}; both models are compared on the same photos")

    def where(self, keep: NDArray[np.bool_]) -> HeldOut:
        """The photos where ``keep`` holds."""
        rows = np.flatnonzero(keep)
        labels, groups = (tuple(values[i] for i in rows) for values in (self.labels, self.groups))
        return replace(self, labels=labels, groups=groups, old=self.old.where(keep), new=self.new.where(keep))

    def known_to_old(self) -> NDArray[np.bool_]:
        """Photos that show no species that only the new model knows, bool (photos,)."""
        new, old = self.new.species, self.old.species
        return np.array([label not in new or label in old for label in self.labels], dtype=bool)

    def truth(self, species: tuple[str, ...]) -> NDArray[np.int64]:
        """The right column of each photo; the last where it shows none of the species."""
        columns = {name: i for i, name in enumerate(species)}
        return np.array([columns.get(label, len(species)) for label in self.labels], dtype=np.int64)
