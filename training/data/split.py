"""Four disjoint parts of the photos, split by group and never by photo."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence

from training.data.manifest import LabelledPhoto

PARTS = ("fit", "calibrate", "conformal", "held_out")


def part_of(group: str, shares: Mapping[str, float], seed: int) -> str:
    """The part that a group belongs to: the same on every machine, whatever else is there.

    A group is dealt by a hash, so photos that are added later never move one that is known.

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
