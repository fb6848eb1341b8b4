"""How flowers are carried and stand together; the shape of a whole flowering top."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import partial

from training.drawn.line.blade import leaf
from training.drawn.line.canvas import BOLD, INK, PALE, THIN, Points, Sketch
from training.drawn.line.habit import fan
from training.drawn.line.petal import bloom
from training.drawn.line.shape import along, on, oval, smooth, tapered, tube
from training.drawn.line.sign import ground

Draw = Callable[[Sketch], None]
UP = -math.pi / 2
SOIL = 88.0


def _leaves_up(sketch: Sketch, path: Points, places: tuple[float, ...], long: float = 18, wide: float = 0.42) -> None:
    for k, t in enumerate(places):
        at, _ = along(path, t)
        side = 1 if k % 2 else -1
        leaf(sketch, at, (at[0] + side * long, at[1] - long * 0.55), "oval", ratio=wide, rib=0)


def _stalk(kind: str, sketch: Sketch) -> None:
    ground(sketch, SOIL)
    stalk = smooth([[50, SOIL], [51, 60], [50, 30]])
    if kind == "leafy":
        _leaves_up(sketch, stalk, (0.12, 0.26, 0.42, 0.56, 0.74, 0.88), 24)
        sketch.line(stalk, BOLD)
        for x, y, foot in ((50, 20, 30), (70, 28, 46), (30, 36, 54)):
            sketch.line(smooth([[50, foot], [(50 + x) / 2, (foot + y) / 2 + 1], [x, y]]), BOLD)
            bloom(sketch, x, y, 9.5, 2.2, PALE)
        return
    if kind == "none":
        fan(sketch, 50, SOIL - 1, 44, THIN, None)
        for x in (38, 50, 62):
            bloom(sketch, x, SOIL - 5 - (5 if x == 50 else 0), 9.5, BOLD, PALE)
        return
    fan(sketch, 50, SOIL - 1, 34, THIN, None)
    if kind == "leafless_single":
        sketch.line(stalk, BOLD)
        bloom(sketch, 50, 19, 14, BOLD, PALE)
        return
    sketch.line(smooth([[50, SOIL], [50, 66], [50, 54 if kind == "leafless_branched" else 44]]), BOLD)
    if kind == "leafless_branched":
        for path in ([[50, 54], [40, 42], [28, 22]], [[50, 54], [62, 44], [76, 30]], [[38, 39], [46, 30], [50, 14]]):
            sketch.line(smooth(path), BOLD)
            bloom(sketch, path[-1][0], path[-1][1] - 4, 9.5, 2.2, PALE)
        return
    for lean in (-1.1, 1.1, -0.55, 0.55, 0.0):
        end = on((50, 44), UP + lean, 27)
        sketch.line([[50, 44], end], BOLD)
        bloom(sketch, *end, 8, 2.2, PALE)


def _single(sketch: Sketch) -> None:
    path = smooth([[38, 104], [42, 60], [40, -4]])
    sketch.area(tube(path, 4), THIN)
    for y, side in ((84, 1), (52, -1), (20, 1)):
        leaf(sketch, (41, y), (41 + side * 34, y - 16), "oval", ratio=0.46)
    sketch.line(smooth([[43, 82], [56, 68], [66, 52]]), BOLD)
    bloom(sketch, 70, 40, 17, BOLD, PALE)


def _head(sketch: Sketch) -> None:
    sketch.area(tube([[50, 104], [50, 60]], 4), THIN)
    for side in (-1, 1):
        leaf(sketch, (50, 92), (50 + side * 36, 78), "oval", ratio=0.42)
    for k in range(19):
        far = math.sqrt((k + 0.3) / 19)
        at = (50 + 27 * far * math.cos(k * 2.39996), 38 + 27 * far * math.sin(k * 2.39996))
        bloom(sketch, *at, 7.4, 1.8, PALE, 4)


def _umbel(sketch: Sketch) -> None:
    sketch.area(tube([[50, 104], [50, 72]], 4), THIN)
    for lean in (-1.05, 1.05, -0.68, 0.68, -0.33, 0.33, 0.0):
        end = on((50, 72), UP + lean, 46)
        sketch.line([[50, 72], end], BOLD)
        bloom(sketch, *end, 8.6, 2.0, PALE)


def _row(sketch: Sketch) -> None:
    path = smooth([[50, 104], [50, 60], [50, 10]])
    sketch.line(path, BOLD)
    for k in range(7):
        y, side = 88 - 11 * k, 1 if k % 2 else -1
        far = 22 - 1.6 * k
        sketch.line([[50, y], [50 + side * far, y - 8]], BOLD)
        bloom(sketch, 50 + side * far, y - 9, 9.4 - 0.7 * k, 2.0, PALE)
    bloom(sketch, 50, 9, 4.5, 2.0, PALE)


def _panicle(sketch: Sketch) -> None:
    sketch.line([[50, 104], [50, 12]], BOLD)
    for y, far in ((78, 40), (58, 33), (38, 24), (22, 14)):
        for side in (-1, 1):
            end = (50 + side * far, y - 18)
            sketch.line(smooth([[50, y], [50 + side * far * 0.6, y - 8], end]), BOLD)
            fork = (50 + side * far * 0.5, y - 7)
            tip = (50 + side * far * 0.55, y - 20)
            if far > 14:
                sketch.line([fork, tip], THIN)
                bloom(sketch, *tip, 5.2, 1.6, PALE)
                low = (50 + side * far * 0.92, y - 3)
                sketch.line([fork, low], THIN)
                bloom(sketch, *low, 5.2, 1.6, PALE)
            bloom(sketch, *end, 5.6, 1.6, PALE)
    bloom(sketch, 50, 8, 6, 1.6, PALE)


def _whorls(sketch: Sketch) -> None:
    sketch.area(tube([[50, 104], [50, 4]], 4.5), THIN)
    for y in (80, 50, 20):
        for side in (-1, 1):
            leaf(sketch, (50, y + 5), (50 + side * 40, y + 8), "lance", ratio=0.22, rib=0)
        for dx, dy in ((-20, -1), (20, -1), (-11, 3), (11, 3), (0, 5)):
            bloom(sketch, 50 + dx, y + dy - 4, 7.4, 2.0, PALE)


def _dot_head(sketch: Sketch, x: float, y: float, size: float = 4.6) -> None:
    """One small head in a spray."""
    sketch.area(oval(x, y, size), 2.0, INK)


def _spray(kind: str, sketch: Sketch) -> None:
    """A whole top with many heads."""
    stem = smooth([[50, 104], [50, 60], [50, 18]])
    if kind == "single":
        sketch.line(stem, BOLD)
        _leaves_up(sketch, stem, (0.1, 0.25, 0.4, 0.55), 22)
        bloom(sketch, 50, 16, 14, BOLD, PALE, 9)
        return
    sketch.line(stem, BOLD)
    if kind == "pyramid":
        for y, far in ((84, 42), (68, 34), (52, 26), (37, 17), (26, 9)):
            for side in (-1, 1):
                path = smooth([[50, y], [50 + side * far * 0.5, y - 4], [50 + side * far, y - 12]])
                sketch.line(path, 2)
                for t in (0.45, 0.72, 1.0) if far > 10 else (1.0,):
                    at, _ = along(path, t)
                    _dot_head(sketch, at[0], at[1] - 3, 3.7)
        _dot_head(sketch, 50, 14, 3.7)
        _dot_head(sketch, 50, 22, 3.7)
    elif kind == "flat_topped":
        for foot, far, top in ((90, 38, 20), (74, 24, 26), (60, 12, 24)):
            for side in (-1, 1):
                path = smooth([[50, foot], [50 + side * far * 0.7, (foot + top) / 2 + 4], [50 + side * far, top]])
                sketch.line(path, 2)
                at, _ = along(path, 0.6)
                for lean in (-6, 6):
                    end = (50 + side * far + lean, top - 5)
                    sketch.line([at, end], THIN)
                    _dot_head(sketch, *end, 3.7)
        for lean in (-6, 0, 6):
            _dot_head(sketch, 50 + lean, 22 - 3 * (lean == 0), 3.7)
    elif kind == "spike":
        _leaves_up(sketch, stem, (0.06, 0.16, 0.26), 22)
        for k in range(9):
            for side in (-1, 1):
                _dot_head(sketch, 50 + side * (8.5 - 0.4 * k), 66 - 6.3 * k - (3 if side > 0 else 0), 4.4)
        for k in range(10):
            _dot_head(sketch, 50, 64 - 6.2 * k, 4.4 - 0.1 * k)
    else:
        _leaves_up(sketch, stem, (0.08, 0.22, 0.38, 0.5), 24)
        for x, y in ((-20, 26), (20, 26), (-11, 16), (11, 16), (0, 10), (-1, 26)):
            sketch.line([[50, 44], [50 + x, y]], THIN)
            _dot_head(sketch, 50 + x, y, 5)


def _pods(over: bool, sketch: Sketch) -> None:
    """The top of a stem with open flowers; long pods beside them."""
    sketch.line([[50, 104], [50, 44 if over else 26]], THIN)
    top = 42.0 if over else 20.0
    feet = (74, 66, 60) if over else (88, 76, 64)
    for k, foot in enumerate(feet):
        for side in (-1, 1):
            out = 50 + side * (15 + 5 * (2 - k) if over else 12)
            start = (50 + side * 9, foot - 3)
            tip = (out + side * 3, 4 + 4 * k) if over else (50 + side * (38 - 4 * k), foot - 24)
            sketch.line([[50, foot], start], 2)
            mid = (
                (out, (start[1] + tip[1]) / 2)
                if over
                else ((start[0] + tip[0]) / 2 + side * 3, (start[1] + tip[1]) / 2 + 2)
            )
            sketch.area(tapered(smooth([start, mid, tip]), [3, 4.6, 4.6, 1]), 2.2, PALE)
    for x, y in ((-9, 4), (9, 4), (0, 8), (-5, -5), (5, -5)):
        sketch.line([[50, top + 10], [50 + x, top + y]], THIN)
        bloom(sketch, 50 + x, top + y, 6.4, THIN, None, 4)


FIGURES: Mapping[str, Mapping[str, Draw]] = {
    "flower_stalk": {
        kind: partial(_stalk, kind)
        for kind in ("leafless_single", "leafless_branched", "leafless_cluster", "leafy", "none")
    },
    "cluster_shape": {
        "single": _single,
        "head": _head,
        "umbel": _umbel,
        "row": _row,
        "panicle": _panicle,
        "whorls": _whorls,
    },
    "spray_shape": {kind: partial(_spray, kind) for kind in ("single", "pyramid", "flat_topped", "spike", "cluster")},
    "pod_position": {"overtop": partial(_pods, True), "below": partial(_pods, False)},
}
