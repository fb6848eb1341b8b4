"""Photos that look the same although their files differ: copies saved anew, frames of one burst."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from model.photo.sandbox import the_sandbox

Array = NDArray[np.float64]
BITS = 64
CHUNK = 500  # photos compared at once


def outline(file: Path) -> NDArray[np.uint8]:
    """Sixty-four bits of what is lighter than its left neighbour (a difference hash), uint8 (64,).

    Raises PhotoError naming the file when it cannot be read.
    """
    grey = the_sandbox().grey(file).astype(np.int16)
    return (grey[:, 1:] > grey[:, :-1]).astype(np.uint8).ravel()


def outlines(files: Sequence[Path]) -> NDArray[np.uint8]:
    """Outlines of many photos, uint8 (photos, 64)."""
    return np.stack([outline(file) for file in files]) if files else np.zeros((0, BITS), dtype=np.uint8)


def near_duplicates(
    learned: tuple[NDArray[np.uint8], Array], held_out: tuple[NDArray[np.uint8], Array], bits: int, cosine: float
) -> NDArray[np.bool_]:
    """Which held-out photos look the same as one that was learned from, bool (held-out photos,).

    Each side is outlines uint8 (photos, 64) and features float (photos, features). The same
    means: at most ``bits`` of the outline differ, and the features have at least ``cosine``.
    """
    (one, x), (two, y) = learned, held_out
    found = np.zeros(len(two), dtype=bool)
    if not len(one):
        return found
    marks = one.astype(np.float32) * 2 - 1
    unit = x / np.linalg.norm(x, axis=1, keepdims=True)
    for start in range(0, len(two), CHUNK):
        rows = slice(start, start + CHUNK)
        differ = (BITS - (two[rows].astype(np.float32) * 2 - 1) @ marks.T) / 2
        alike = (y[rows] / np.linalg.norm(y[rows], axis=1, keepdims=True)) @ unit.T
        found[rows] = ((differ <= bits) & (alike >= cosine)).any(axis=1)
    return found
