"""Familiar things beside a plant part: fingers, a nose, the ground; and things whose colour everybody knows."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np

from training.drawn.line.blade import leaf
from training.drawn.line.canvas import BOLD, FINE, INK, PALE, THIN, Points, Sketch, merged
from training.drawn.line.shape import Place, bow, box, drop, oval, put, ray, smooth, tube, waves


def ground(sketch: Sketch, y: float, left: float = 4, right: float = 96) -> None:
    """The line of the soil."""
    sketch.line([[left, y], [right, y]], THIN)
    sketch.lines(([[x, y], [x - 3, y + 4]] for x in np.arange(left + 8, right, 12)), FINE)


def finger(sketch: Sketch, tip: Place, turn: float, width: float = 17, long: float = 60, nail: bool = True) -> None:
    """A fingertip that comes to ``tip`` in the direction ``turn`` (rad)."""
    half = width / 2
    side = np.array([[-long, -half], [-half * 1.6, -half], [-half * 0.55, -half * 0.84], [0, 0]])
    sketch.area(put(smooth(np.concatenate([side, (side * [1, -1])[-2::-1]])), tip, turn), THIN)
    if nail:
        shape = [
            [-half * 1.5, -half * 0.55],
            [-half * 0.5, -half * 0.5],
            [-half * 0.2, 0],
            [-half * 0.5, half * 0.5],
            [-half * 1.5, half * 0.55],
        ]
        sketch.line(put(smooth(shape), tip, turn), FINE)


def ouch(sketch: Sketch, at: Place, turn: float, start: float = 7, end: float = 14) -> None:
    """Three strokes of a prick."""
    sketch.lines((ray(at, turn + off, start, end) for off in (-0.6, 0.0, 0.6)), BOLD)


def nose(sketch: Sketch) -> None:
    """The profile of a nose at the upper right, looking left."""
    profile = [
        [93, -6],
        [90, 6],
        [80, 20],
        [68, 31],
        [66, 38],
        [72, 43],
        [82, 42],
        [86, 48],
        [82, 53],
        [88, 58],
        [86, 66],
    ]
    sketch.line(smooth(profile), 2.1)
    sketch.area(oval(79, 38, 4.2, 2, -0.3), 0, INK)
    sketch.line(smooth([[84, 31], [90, 34], [90, 41]]), THIN)


def _banana(sketch: Sketch) -> None:
    outer = [[76, 62], [76, 74], [83, 86], [96, 91]]
    inner = [[97, 87], [90, 82], [84, 73], [81, 61]]
    sketch.area(smooth([*outer, *inner], closed=True), THIN, PALE)
    sketch.line(smooth([[78.5, 66], [81, 76], [87, 84], [95, 89]]), FINE)
    sketch.area(box(76.5, 56, 80.5, 62.5), THIN, INK)


def _sheep(sketch: Sketch) -> None:
    for x in (77, 82, 90, 94):
        sketch.area(box(x, 86, x + 2, 97), THIN, INK)
    bumps = [
        oval(85 + 9 * math.cos(a), 81 + 6 * math.sin(a), 4.6) for a in np.linspace(0, 2 * math.pi, 9, endpoint=False)
    ]
    sketch.area(merged(*bumps, oval(85, 81, 9, 6)), THIN)
    sketch.area(oval(72.5, 79, 3.2, 4.6, 0.3), THIN, INK)


def _pig(sketch: Sketch) -> None:
    for side in (-1, 1):
        ear = [[83 + 5 * side, 68], [83 + 12.5 * side, 63], [83 + 12.5 * side, 75]]
        sketch.area(ear, THIN, PALE)
    sketch.area(oval(83, 79, 13, 12.5), THIN, PALE)
    sketch.area(oval(83, 83, 6.6, 4.8), THIN)
    for side in (-1, 1):
        sketch.area(oval(83 + 2.4 * side, 83, 1, 1.7), 0, INK)
        sketch.area(oval(83 + 5 * side, 74, 1.2), 0, INK)


def _grapes(sketch: Sketch) -> None:
    rows = ((64, (74, 82, 90)), (71.5, (70, 78, 86, 94)), (79, (74, 82, 90)), (86, (78, 86)), (93, (82,)))
    for y, places in rows:
        for x in places:
            sketch.area(oval(x, y, 4.6), THIN, PALE)
    sketch.line(smooth([[82, 60], [83, 54], [80, 51]]), 2)


def _drop(sketch: Sketch) -> None:
    sketch.area(drop(82, 76, 9), THIN, PALE)
    sketch.line(bow(82, 79, 5, 5, 1.7, 3.1), FINE)
    for y in (92, 97):
        sketch.line(waves((68, y), (96, y), 1.6, 3), THIN)


def _carrot(sketch: Sketch) -> None:
    sketch.area(smooth([[72, 72], [77, 67], [84, 71], [95, 96], [86, 91], [76, 81]], closed=True), THIN, PALE)
    sketch.lines(([[77, 78], [81, 75]], [[82, 84], [85, 82]], [[79, 71.5], [76, 74]]), FINE)
    for end in ((67, 60), (73, 57), (64, 66)):
        sketch.line(smooth([[74, 69], [(74 + end[0]) / 2 + 1, (69 + end[1]) / 2], end]), 2)


def _cherries(sketch: Sketch) -> None:
    sketch.line(smooth([[75, 84], [78, 72], [88, 62]]), THIN)
    sketch.line(smooth([[91, 87], [92, 74], [88, 62]]), THIN)
    leaf(sketch, (88, 62), (72, 60), "oval", ratio=0.45, rib=0)
    for x, y in ((75, 88), (91, 90)):
        sketch.area(oval(x, y, 7), THIN, INK)


def _leaf(sketch: Sketch) -> None:
    sketch.line([[70, 97], [76, 91]], 2)
    leaf(sketch, (76, 91), (96, 64), "oval", weight=THIN, fill=PALE, ratio=0.62, veins=3)


def _log(sketch: Sketch) -> None:
    sketch.area(smooth([[76, 72], [92, 66], [97, 72], [96, 84], [80, 92]], each=5), THIN, PALE)
    sketch.area(oval(77, 82, 9, 10.5), THIN)
    for size in (0.66, 0.34):
        sketch.area(oval(77, 82, 9 * size, 10.5 * size), FINE, hides=False)
    sketch.lines(([[87, 74], [95, 71]], [[88, 80], [95, 77]], [[87, 86], [92, 83.5]]), FINE)


# A thing of each colour that needs no colour to be known. They stand at the lower right.
THINGS: Mapping[str, tuple[str, Callable[[Sketch], None]]] = {
    "yellow": ("a banana", _banana),
    "white": ("a sheep", _sheep),
    "pink": ("a pig", _pig),
    "purple": ("grapes", _grapes),
    "blue": ("water", _drop),
    "orange_red": ("a carrot", _carrot),
    "red": ("cherries", _cherries),
    "green": ("a leaf", _leaf),
    "brown": ("a log", _log),
}


def sign(sketch: Sketch, colour: str) -> None:
    """The thing that stands for a colour, at the lower right."""
    thing = Sketch()
    THINGS[colour][1](thing)
    sketch.place(thing, 3)


def glass(x: float, y: float, radius: float) -> tuple[Points, Points]:
    """A magnifying glass: its rim, and its handle to the lower right."""
    handle = tube(ray((x, y), 0.8, radius + 1, radius * 1.75), radius * 0.26)
    return oval(x, y, radius), handle
