"""Flowers as lines, from the renderer's own petals and parts."""

from __future__ import annotations

import math

from training.drawn.flower import petal
from training.drawn.line.canvas import FINE, INK, THIN, Points, Sketch, merged
from training.drawn.line.shape import Place, on, oval, put, smooth
from training.drawn.sprite import rounded


def one_petal(
    at: Place, turn: float, start: float, end: float, width: float, notch: str = "none", tip: str = "round"
) -> Points:
    """The renderer's petal, its corners cut."""
    shape = rounded(petal(start, end, width, notch, tip))
    return put(shape if tip == "strap" else rounded(shape), at, turn)


def flower(
    sketch: Sketch,
    at: Place,
    radius: float,
    count: int,
    ratio: float = 0.72,
    weight: float = THIN,
    fill: str | None = None,
    turn: float = -math.pi / 2,
    notch: str = "none",
    tip: str = "round",
    middle: float = 0.17,
    squash: float = 1.0,
) -> None:
    """Petals round a middle, from above."""
    for k in range(count):
        shape = one_petal((0, 0), turn + 2 * math.pi * k / count, 0.05 * radius, radius, radius * ratio, notch, tip)
        sketch.area(put(shape, at, squash=squash), weight, fill)
    if middle:
        sketch.area(put(oval(0, 0, radius * middle), at, squash=squash), weight)


def bloom(
    sketch: Sketch, x: float, y: float, radius: float, weight: float = THIN, fill: str | None = None, count: int = 5
) -> None:
    """A small flower on a plant: one outline and a middle."""
    lobes = [
        oval(*on((x, y), -math.pi / 2 + 2 * math.pi * k / count, radius * 0.58), radius * 0.46) for k in range(count)
    ]
    sketch.area(merged(*lobes, oval(x, y, radius * 0.5)), weight, fill)
    sketch.area(oval(x, y, radius * 0.24), 0, INK, hides=False)


def stamens(
    sketch: Sketch, at: Place, number: int, far: float, size: float = 2.0, weight: float = FINE, start: float = 0.3
) -> None:
    """Threads with their pollen bags, round a middle."""
    for k in range(number):
        turn = start + 2 * math.pi * k / number
        end = on(at, turn, far)
        sketch.line([at, end], weight)
        sketch.area(oval(*end, size), 0, INK, hides=False)


def scaled(points: Points, at: Place, size: float) -> Points:
    """Points of the renderer's unit frame (edge at 1, y down) on the sketch, with soft corners."""
    return put(smooth(points, closed=True, each=4), at, 0, size)


def dots(sketch: Sketch, at: Place, wide: float, high: float, number: int, size: float) -> None:
    """Florets of a disc, in spirals."""
    for k in range(number):
        far = math.sqrt((k + 0.5) / number)
        turn = k * 2.39996
        sketch.area(
            oval(at[0] + wide * far * math.cos(turn), at[1] + high * far * math.sin(turn), size), 0, INK, hides=False
        )
