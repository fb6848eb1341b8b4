"""Whole plants: how they grow, how long they live, whether the rosette is green at flowering."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import partial

import numpy as np

from training.drawn.foliage import arc
from training.drawn.line.blade import leaf
from training.drawn.line.canvas import BOLD, INK, PALE, THIN, Points, Sketch
from training.drawn.line.petal import bloom
from training.drawn.line.shape import along, box, on, oval, put, smooth, tapered, tube
from training.drawn.line.sign import ground

Draw = Callable[[Sketch], None]
SOIL = 84.0


def side_arc(x: float, y: float, rise: float, long: float, droop: float) -> Points:
    """The renderer's stem, seen from the side: it leaves (x, y) at ``rise`` rad from the right and bends down."""
    path = arc((0, 0, 0), 0, rise if rise <= math.pi / 2 else math.pi - rise, long, droop, 12)
    way = 1 if rise <= math.pi / 2 else -1
    return np.stack([x + way * path[:, 0], y - path[:, 2]], axis=1)


def fan(sketch: Sketch, x: float, y: float, long: float, weight: float, fill: str | None, size: float = 1) -> None:
    """The leaves of a rosette from the side."""
    for turn, part in ((3.05, 1), (0.09, 1), (2.72, 0.92), (0.42, 0.92), (2.3, 0.7), (0.84, 0.7)):
        leaf(
            sketch,
            (x, y),
            (x + long * part * math.cos(turn), y - long * part * math.sin(turn)),
            "spoon",
            "smooth",
            weight,
            fill,
            0.26 * size,
            rib=0,
        )


def _rosette(sketch: Sketch) -> None:
    ground(sketch, SOIL)
    sketch.area(tube(smooth([[50, SOIL], [51, 50], [50, 26]]), 2.6), THIN)
    bloom(sketch, 50, 19, 8)
    fan(sketch, 50, SOIL - 1, 44, BOLD, PALE)


def _mat(sketch: Sketch) -> None:
    """From above and aslant: stems lie around one point."""
    for k in range(8):
        turn = 2 * math.pi * k / 8 + 0.2
        end = (50 + 40 * math.cos(turn), 52 + 31 * math.sin(turn))
        path = smooth([[50, 52], [50 + 24 * math.cos(turn + 0.09), 52 + 16 * math.sin(turn + 0.09)], end])
        for t in (0.36, 0.58, 0.8, 1.0):
            at, way = along(path, t)
            for side in (-1, 1) if t < 1 else (0,):
                leaf(sketch, at, on(at, way + side * 1.0, 9), "oval", "smooth", THIN, None, 0.55, rib=0)
        sketch.line(path, BOLD)
    sketch.area(oval(50, 52, 4.6, 3.6), BOLD, INK)


def _creeping(sketch: Sketch) -> None:
    line = 62.0
    ground(sketch, line)
    for x in (16, 50, 84):
        for lean, tall in ((-13, 26), (13, 26), (0, 36)):
            leaf(sketch, (x, line - 4), (x + lean, line - tall), "oval", "smooth", BOLD, PALE, 0.34, rib=0)
        for lean in (-5, 0, 5):
            sketch.line(smooth([[x, line - 2], [x + lean * 0.7, line + 10], [x + lean * 1.3, line + 22]]), THIN)
    path = smooth([[12, line - 3], [33, line - 8], [50, line - 3], [67, line - 8], [84, line - 3], [98, line - 8]])
    sketch.line(path, 4)


def _tuft(sketch: Sketch) -> None:
    ground(sketch, SOIL + 6)
    for lean, long, droop in ((1.0, 47, 2.0), (0.6, 68, 1.25), (0.32, 78, 0.8), (0.1, 82, 0.3)):
        for side in (-1, 1):
            path = side_arc(50 + 3 * side, SOIL + 6, math.pi / 2 - side * lean, long, droop)
            sketch.area(tapered(path, [3.5, 5, 4.6, 3.4, 0.4]), BOLD, PALE)


def _erect(sketch: Sketch) -> None:
    ground(sketch, 92)
    path = smooth([[50, 92], [50, 50], [50, 14]])
    for y, wide in ((80, 34), (64, 32), (48, 27), (33, 21), (20, 14)):
        for side in (-1, 1):
            leaf(sketch, (50, y), (50 + side * wide, y - wide * 0.42), "oval", "smooth", THIN, PALE, 0.36, rib=0)
    sketch.area(tube(path, 5, 3.5), BOLD, PALE)
    bloom(sketch, 50, 10, 7)


def _sprawling(sketch: Sketch) -> None:
    """Weak stems from one foot that flop over and rise again at their tips."""
    ground(sketch, 90)
    for course in (
        [[12, 90], [30, 84], [52, 84], [72, 78], [90, 58]],
        [[12, 90], [26, 70], [46, 66], [66, 58], [82, 34]],
        [[12, 90], [18, 62], [32, 48], [48, 38], [58, 12]],
    ):
        path = smooth(course)
        for t in (0.25, 0.44, 0.63, 0.82, 1.0):
            at, way = along(path, t)
            for side in (-1, 1) if t < 1 else (0,):
                leaf(sketch, at, on(at, way + side * 1.0, 12), "oval", "smooth", THIN, PALE, 0.5, rib=0)
        sketch.line(path, BOLD)


def _dead(sketch: Sketch, x: float, y: float) -> None:
    """What is left of a plant: a broken, leafless stem."""
    sketch.lines(
        (
            smooth([[x, y], [x + 1, y - 14], [x - 1, y - 22]]),
            [[x - 1, y - 22], [x + 9, y - 15]],
            [[x, y - 10], [x - 7, y - 17]],
            [[x + 1, y - 6], [x + 8, y - 3]],
        ),
        THIN,
    )


def _live(sketch: Sketch, x: float, y: float, tall: float, weight: float = BOLD) -> None:
    sketch.line([[x, y], [x, y - tall]], weight)
    for part, side in ((0.2, -1), (0.3, 1), (0.5, -1), (0.6, 1)):
        leaf(
            sketch, (x, y - tall * part), (x + side * 10, y - tall * part - 6), "oval", "smooth", THIN, PALE, 0.5, rib=0
        )
    bloom(sketch, x, y - tall - 3, 5.5)


def _life(kind: str, sketch: Sketch) -> None:
    """Three years side by side."""
    line = 74.0
    for k in range(3):
        left = 3.0 + 32 * k
        sketch.area(box(left, 18, left + 30, 90), THIN)
        sketch.line([[left, 28], [left + 30, 28]], THIN)
        for x in (left + 8, left + 22):
            sketch.line([[x, 14], [x, 22]], BOLD)
        sketch.line([[left + 2, line], [left + 28, line]], THIN)
    first, second, third = 18.0, 50.0, 82.0
    if kind == "annual":
        _live(sketch, first, line, 30)
        _dead(sketch, second - 2, line)
    elif kind == "biennial":
        fan(sketch, first, line, 13, 2, PALE, 1.4)
        _live(sketch, second, line, 32)
        _dead(sketch, third - 2, line)
    else:
        for x, tall in ((first, 24), (second, 28), (third, 32)):
            _live(sketch, x, line, tall)
            for lean in (-6, 0, 6):
                sketch.line([[x, line], [x + lean, line + 12]], 2)


def _at_flowering(green: bool, sketch: Sketch) -> None:
    ground(sketch, 90)
    path = smooth([[50, 90], [50, 50], [50, 22]])
    sketch.area(tube(path, 3.6, 2.8), THIN)
    for height, way in ((62, -1), (54, 1), (44, -1), (36, 1)):
        leaf(sketch, (50, height), (50 + way * 15, height - 9), "lance", ratio=0.3, rib=0)
    for x, y in ((50, 14), (36, 24), (64, 24)):
        sketch.line([[50, 36], [x, y]], THIN)
        bloom(sketch, x, y, 7)
    if green:
        fan(sketch, 50, 89, 44, BOLD, PALE, 1.15)
        return
    for side in (-1, 1):
        for far, drop in ((36, 0), (24, 0), (13, 0)):
            path = smooth(
                [
                    [50, 89],
                    [50 + side * far * 0.4, 80 + drop],
                    [50 + side * far * 0.75, 84],
                    [50 + side * far, 89.5],
                    [50 + side * (far - 4), 93],
                ]
            )
            sketch.line(path, BOLD)
            sketch.line(put(smooth([[0, 0], [3, 2], [1, 5], [4, 7]]), (50 + side * far * 0.8, 84)), THIN)


FIGURES: Mapping[str, Mapping[str, Draw]] = {
    "growth_habit": {
        "rosette": _rosette,
        "mat": _mat,
        "creeping": _creeping,
        "tuft": _tuft,
        "erect": _erect,
        "sprawling": _sprawling,
    },
    "life_span": {kind: partial(_life, kind) for kind in ("annual", "biennial", "perennial")},
    "rosette_at_flowering": {"present": partial(_at_flowering, True), "withered": partial(_at_flowering, False)},
}
