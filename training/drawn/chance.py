"""Chance that a seed fixes: every name has its own stream, so that one change never shifts another."""

from __future__ import annotations

import hashlib
import random

import numpy as np


def number_of(seed: int, *names: object) -> int:
    """A whole number of 64 bits that only the seed and the names fix.

    >>> number_of(1, "leaf") == number_of(1, "leaf") != number_of(2, "leaf")
    True
    """
    text = ":".join(str(name) for name in (seed, *names))
    return int.from_bytes(hashlib.blake2b(text.encode(), digest_size=8).digest(), "big")


def dice(seed: int, *names: object) -> random.Random:
    """Dice for single throws (quick)."""
    return random.Random(number_of(seed, *names))


def apart(dice: random.Random) -> random.Random:
    """Dice of their own for one part: however often they are thrown, the others roll on the same."""
    return random.Random(dice.getrandbits(64))


def noise_dice(seed: int, *names: object) -> np.random.Generator:
    """Dice for whole arrays."""
    return np.random.default_rng(number_of(seed, *names))
