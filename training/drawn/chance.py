"""Chance that a seed fixes: every name has its own stream, so that one change never shifts another."""

from __future__ import annotations

import hashlib
import random
from collections.abc import Mapping

import numpy as np

from model.flora.species import Frequency

# How often a state is drawn, relative to the others of its character.
WEIGHT: Mapping[Frequency, float] = {"always": 1.0, "usually": 0.7, "sometimes": 0.25, "rarely": 0.05}


def number_of(seed: int, *names: object) -> int:
    """A whole number of 64 bits that only the seed and the names fix.

    >>> number_of(1, "leaf") == number_of(1, "leaf") != number_of(2, "leaf")
    True
    """
    text = ":".join(str(name) for name in (seed, *names))
    return int.from_bytes(hashlib.blake2b(text.encode(), digest_size=8).digest(), "big")


def share(seed: int, *names: object) -> float:
    """A number from 0 up to 1, evenly spread, fixed by the seed and the names."""
    return number_of(seed, *names) / 2**64


def dice(seed: int, *names: object) -> random.Random:
    """Dice for single throws (quick)."""
    return random.Random(number_of(seed, *names))


def apart(dice: random.Random) -> random.Random:
    """Dice of their own for one part: however often they are thrown, the others roll on the same."""
    return random.Random(dice.getrandbits(64))


def noise_dice(seed: int, *names: object) -> np.random.Generator:
    """Dice for whole arrays."""
    return np.random.default_rng(number_of(seed, *names))


def pick(states: Mapping[str, Frequency], place: float) -> str:
    """The state at ``place`` (0 to 1) when states lie side by side, as wide as they are frequent.

    >>> pick({"yellow": "always"}, 0.99), pick({"white": "usually", "pink": "rarely"}, 0.99)
    ('yellow', 'pink')
    """
    total = sum(WEIGHT[often] for often in states.values())
    left = place * total
    for state, often in states.items():
        left -= WEIGHT[often]
        if left < 0:
            return state
    return list(states)[-1]
