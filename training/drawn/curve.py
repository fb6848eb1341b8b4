"""Lines and directions in space from which plants are built, in mm: x right, y away, z up."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Place = Sequence[float] | Array  # x, y, z
GOLDEN = 2.39996  # rad: the angle between leaves, florets or seeds that follow each other in a spiral


def arc(foot: Place, turn: float, rise: float, length: float, droop: float, points: int = 7) -> Array:
    """A stem that leaves ``foot`` at ``rise`` and bends down (negative: up), float (points, 3)."""
    u = np.linspace(0, 1, points)
    out = length * (u * math.cos(rise) + 0.5 * droop * u * u * math.sin(rise))
    up = length * (u * math.sin(rise) - 0.5 * droop * u * u * math.cos(rise))
    x, y = foot[0] + out * math.cos(turn), foot[1] + out * math.sin(turn)
    return np.stack([x, y, np.maximum(foot[2] + up, 0.8)], axis=1)


def along(path: Array, t: float) -> Array:
    """The point at ``t``, from 0 at the start of a line to 1 at its end."""
    grid = np.linspace(0, 1, len(path))
    return np.array([np.interp(t, grid, path[:, i]) for i in range(3)])


def end_direction(path: Array) -> Array:
    """The unit vector in which a line ends."""
    return unit(np.asarray(path[-1] - path[-2]))


def unit(vector: Array) -> Array:
    """The vector at length one."""
    return vector / max(1e-9, float(np.linalg.norm(vector)))


def direction(turn: float, up: float = 0.0, out: float = 1.0) -> Array:
    """``out`` in the direction of ``turn`` (rad) on the level, and ``up``."""
    return np.array([out * math.cos(turn), out * math.sin(turn), up])


def scatter(dice: random.Random, x: float, y: float, z: float, middle: float = 0.0) -> Array:
    """A random step with these standard deviations, around ``middle`` in z."""
    return np.array([dice.gauss(0, x), dice.gauss(0, y), dice.gauss(middle, z)])


def wander(path: Array, by: float, length: float, dice: random.Random) -> None:
    """Let a runner stray sideways, at each point by ``by`` of ``length``."""
    path[:, :2] += np.cumsum([[dice.gauss(0, by), dice.gauss(0, by)] for _ in path], axis=0) * length


def facing_up(dice: random.Random, lean: float) -> Array:
    """A direction around straight up; ``lean`` rad is how far it may stray."""
    turn, off = dice.uniform(0, 2 * math.pi), abs(dice.gauss(0, lean))
    return np.array([math.sin(off) * math.cos(turn), math.sin(off) * math.sin(turn), math.cos(off)])
