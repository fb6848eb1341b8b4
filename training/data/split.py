"""Four disjoint parts of the photos, and folds, split by group and never by photo."""

from __future__ import annotations

import hashlib
import warnings
from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from training.data.manifest import LabelledPhoto

PARTS = ("fit", "calibrate", "conformal", "held_out")


def part_of(group: str, shares: Mapping[str, float], seed: int) -> str:
    """The part that a group belongs to, by a hash: the same on every machine, and photos added later move no group.

    >>> part_of("visit 12", {"fit": 0.5, "calibrate": 0.2, "conformal": 0.1, "held_out": 0.2}, 1) in PARTS
    True
    """
    digest = hashlib.sha256(f"{seed}:{group}".encode()).digest()
    place = int.from_bytes(digest[:8], "big") / 2**64
    for part, share in shares.items():
        place -= share
        if place < 0:
            return part
    return list(shares)[-1]


def split(photos: Sequence[LabelledPhoto], shares: Mapping[str, float], seed: int) -> list[str]:
    """The part of each photo, in order. All photos of one group are in one part."""
    return [part_of(photo.group, shares, seed) for photo in photos]


def every_class_in_fit(photos: Sequence[LabelledPhoto], parts: Sequence[str]) -> list[str]:
    """The same parts, but with a group of every class in the fit part: a class must be learned to be measured.

    A class with no group there gives its first group that is not held out, else its first. Groups move whole.
    """
    part = dict(zip((photo.group for photo in photos), parts, strict=True))
    for label in sorted({photo.label for photo in photos}):
        groups = sorted({photo.group for photo in photos if photo.label == label})
        if all(part[group] != "fit" for group in groups):
            moved = next((group for group in groups if part[group] != "held_out"), groups[0])
            part[moved] = "fit"
    return [part[photo.group] for photo in photos]


def grouped_folds(labels: Sequence[str], groups: Sequence[str], folds: int, seed: int) -> NDArray[np.int64]:
    """The fold of each photo, from 0 on: groups whole, labels spread over folds as evenly as that allows.

    Fewer than ``folds`` where there are fewer groups, or no label has as many photos; all 0 where there cannot be two.
    """
    from sklearn.model_selection import StratifiedGroupKFold  # only here: it takes half a second

    fold = np.zeros(len(labels), dtype=np.int64)
    folds = min(folds, len(set(groups)), max(Counter(labels).values(), default=0))
    if folds < 2:
        return fold
    splitter = StratifiedGroupKFold(n_splits=folds, shuffle=True, random_state=seed)
    with warnings.catch_warnings():
        # A label with fewer photos than folds is ordinary here; its photos are judged all the same.
        warnings.simplefilter("ignore", UserWarning)
        for number, (_, check) in enumerate(splitter.split(fold, np.array(labels), np.array(groups))):
            fold[check] = number
    return fold
