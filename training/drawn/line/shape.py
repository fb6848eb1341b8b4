"""Curves that all line drawings are made of. Points are (n, 2), x right and y down."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from training.drawn import brush
from training.drawn.line.canvas import Given, Points

Place = tuple[float, float]


def smooth(points: Given, closed: bool = False, each: int = 7) -> Points:
    """A soft curve through points (Catmull and Rom's), ``each`` points from one to the next."""
    given = np.asarray(points, dtype=float)
    if closed:
        given = np.concatenate([given[-1:], given, given[:2]])
    else:
        given = np.concatenate([2 * given[:1] - given[1:2], given, 2 * given[-1:] - given[-2:-1]])
    t = np.linspace(0, 1, each, endpoint=False)
    weights = 0.5 * np.stack(
        [2 * t**2 - t - t**3, 2 - 5 * t**2 + 3 * t**3, t + 4 * t**2 - 3 * t**3, t**3 - t**2], axis=1
    )
    four = np.stack([given[k : len(given) - 3 + k] for k in range(4)], axis=1)  # (pieces, 4, 2)
    curve = (weights @ four).reshape(-1, 2)
    return curve if closed else np.concatenate([curve, given[-2:-1]])


def tube(path: Given, width: float, end: float | None = None) -> Points:
    """The outline of a stem along a path, ``width`` at its start and ``end`` at its end."""
    given = np.asarray(path, dtype=float)
    return brush.ribbon(given, np.linspace(width, width if end is None else end, len(given)))


def tapered(path: Given, widths: Sequence[float]) -> Points:
    """The outline of a band along a path whose widths are given at even steps."""
    given = np.asarray(path, dtype=float)
    grid = np.linspace(0, 1, len(given))
    return brush.ribbon(given, np.interp(grid, np.linspace(0, 1, len(widths)), widths))


def oval(x: float, y: float, wide: float, high: float | None = None, turn: float = 0.0) -> Points:
    """A circle or an ellipse of these radii, turned (rad)."""
    around = np.linspace(0, 2 * math.pi, 36 if wide > 4 else 14, endpoint=False)
    points = np.stack([wide * np.cos(around), (wide if high is None else high) * np.sin(around)], axis=1)
    return put(points, (x, y), turn)


def bow(x: float, y: float, wide: float, high: float, start: float, end: float) -> Points:
    """An open piece of an ellipse between two angles (rad, clockwise from the right)."""
    around = np.linspace(start, end, 20)
    return np.stack([x + wide * np.cos(around), y + high * np.sin(around)], axis=1)


def put(points: Given, at: Place, turn: float = 0.0, size: float = 1.0, squash: float = 1.0) -> Points:
    """Points squashed in y, turned about the origin (rad, clockwise), scaled and moved."""
    c, s = math.cos(turn), math.sin(turn)
    given = np.asarray(points, dtype=float) * np.array([1, squash])
    return np.asarray(size * given @ np.array([[c, s], [-s, c]]) + np.array(at))


def between(points: Given, base: Place, tip: Place) -> Points:
    """Points of a frame in which x runs 0 to 1 laid from ``base`` to ``tip``."""
    dx, dy = tip[0] - base[0], tip[1] - base[1]
    return put(points, base, math.atan2(dy, dx), math.hypot(dx, dy))


def along(path: Given, t: float) -> tuple[Place, float]:
    """The place at a share of a path, and the way it runs there (rad)."""
    given = np.asarray(path, dtype=float)
    steps = np.hypot(*np.diff(given, axis=0).T)
    grid = np.concatenate([[0.0], np.cumsum(steps)]) / steps.sum()
    x, y = (float(np.interp(t, grid, given[:, i])) for i in (0, 1))
    k = min(max(int(np.searchsorted(grid, t)) - 1, 0), len(given) - 2)
    step = given[k + 1] - given[k]
    return (x, y), math.atan2(step[1], step[0])


def ray(at: Place, turn: float, start: float, end: float) -> Points:
    """A straight line outward from a place."""
    way = np.array([math.cos(turn), math.sin(turn)])
    return np.array(at) + np.outer([start, end], way)


def on(at: Place, turn: float, far: float) -> Place:
    """The place at a distance in a direction."""
    return at[0] + far * math.cos(turn), at[1] + far * math.sin(turn)


def box(left: float, top: float, right: float, bottom: float) -> Points:
    """A rectangle."""
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], dtype=float)


def waves(start: Place, end: Place, swing: float, number: float) -> Points:
    """A wavy line with this many waves."""
    t = np.linspace(0, 1, int(12 * number) + 2)
    return between(np.stack([t, swing / math.dist(start, end) * np.sin(2 * math.pi * number * t)], axis=1), start, end)


def drop(x: float, y: float, size: float) -> Points:
    """A hanging drop whose point is at the top."""
    return smooth(
        put(
            [[0, -1.5], [0.5, -0.5], [0.85, 0.3], [0.55, 1], [0, 1.2], [-0.55, 1], [-0.85, 0.3], [-0.5, -0.5]],
            (x, y),
            0,
            size,
        ),
        closed=True,
    )


def hatching(step: float, turn: float = 0.8, start: float = -60, end: float = 160) -> list[Points]:
    """Parallel lines over the whole square, ``step`` apart."""
    rows = np.arange(start, end, step)
    return [put([[start, row - 50], [end, row - 50]], (50, 50), turn) for row in rows]
