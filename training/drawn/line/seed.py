"""Seeds, nuts and burrs."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np

from training.drawn.line.canvas import BOLD, FINE, INK, PALE, THIN, Sketch, merged
from training.drawn.line.grass import scale
from training.drawn.line.petal import one_petal
from training.drawn.line.shape import bow, on, oval, put, ray, smooth, tapered
from training.drawn.line.surface import curl

Draw = Callable[[Sketch], None]
UP = -math.pi / 2


def _flier(sketch: Sketch, x: float, y: float, size: float, turn: float, weight: float) -> None:
    """A seed under its tuft of hairs."""
    hub = on((x, y), turn, size * 0.85)
    sketch.line([(x, y), hub], weight)
    for lean in np.linspace(-1.25, 1.25, 9).tolist():
        sketch.line([hub, on(hub, turn + lean, size * 0.78)], weight)
    sketch.area(scale(on((x, y), turn, -size * 0.5), turn, size * 0.62, 0.22), weight, INK)


def _parachutes(sketch: Sketch) -> None:
    _flier(sketch, 34, 72, 42, UP + 0.18, 2.2)
    _flier(sketch, 76, 60, 20, UP + 0.3, THIN)
    _flier(sketch, 78, 92, 15, UP - 0.4, THIN)


def _woolly(sketch: Sketch) -> None:
    puff = merged(
        *(oval(50 + 27 * math.cos(a), 50 + 27 * math.sin(a), 15) for a in np.arange(9) * 0.698), oval(50, 50, 30)
    )
    sketch.area(puff, BOLD)
    for k in range(15):
        far = math.sqrt((k + 0.5) / 15)
        at = (50 + 34 * far * math.cos(k * 2.4), 50 + 34 * far * math.sin(k * 2.4))
        sketch.line(curl(at, k * 1.7, 7.5), THIN)
    for x, y, turn in ((38, 40, 0.5), (62, 42, -0.6), (44, 64, 1.2), (66, 64, 0.3), (52, 24, 0.0), (27, 56, 1.6)):
        sketch.area(oval(x, y, 6.6, 3.6, turn), BOLD, INK)


def _winged_spine(sketch: Sketch) -> None:
    sketch.area(tapered([[50, 44], [50, 24], [50, 2]], [7, 4, 0.5]), BOLD, INK)
    for side in (-1, 1):
        wing = [
            [50, 40],
            [50 + side * 18, 36],
            [50 + side * 36, 46],
            [50 + side * 34, 62],
            [50 + side * 24, 66],
            [50 + side * 26, 80],
            [50, 92],
        ]
        sketch.area(smooth(wing), BOLD)
    sketch.area(smooth([[50, 38], [62, 52], [61, 74], [50, 92], [39, 74], [38, 52]], closed=True), BOLD, PALE)


def _coiled(sketch: Sketch) -> None:
    """A pod wound like a spring, its rim set with hooked spines."""
    for k in range(4):
        y = 28 + 15 * k
        for side in (-1, 1):
            foot = (50 + side * 28, y)
            for rise in (-5, 4):
                sketch.line(smooth([foot, [foot[0] + side * 11, y + rise], [foot[0] + side * 15, y + rise - 4]]), 2.2)
    for k in range(3, -1, -1):
        y = 28 + 15 * k
        sketch.area(oval(50, y, 29, 11), BOLD, PALE)
        for x in (-14, 0, 14):
            sketch.line(smooth([[50 + x, y + 9], [50 + x * 1.1, y + 15], [50 + x * 1.1 + 4, y + 17]]), 2.2)
    turn = np.linspace(0, 2 * math.pi * 2.1, 60)
    out = np.linspace(1.0, 0.1, 60)
    sketch.line(np.stack([50 + 25 * out * np.cos(turn), 28 + 9 * out * np.sin(turn)], axis=1), THIN)


def _nutlets(sketch: Sketch) -> None:
    """Four nutlets in their cup, from above."""
    for k in range(5):
        sketch.area(one_petal((50, 50), UP + 1.2566 * k, 10, 47, 24, tip="point"), THIN)
    for x, y in ((-1, -1), (1, -1), (-1, 1), (1, 1)):
        sketch.area(oval(50 + 12.5 * x, 50 + 12.5 * y, 12.6), BOLD, PALE)
        sketch.line(bow(50 + 12.5 * x, 50 + 12.5 * y, 7, 7, -2.9, -1.7), THIN)


def _plain(sketch: Sketch) -> None:
    for x, y, turn, size in ((34, 36, 0.5, 26), (68, 48, -0.7, 24), (44, 76, 1.3, 22)):
        sketch.area(oval(x, y, size * 0.62, size, turn), BOLD, PALE)
        sketch.line(put(smooth([[0, -0.7], [0.2, 0], [0, 0.7]]), (x, y), turn, size), THIN)


def _three_spined(sketch: Sketch) -> None:
    body = [[50, 92], [33, 78], [30, 58], [38, 46], [50, 42], [62, 46], [70, 58], [67, 78]]
    for end, bend in (((4, 26), (18, 44)), ((96, 26), (82, 44)), ((50, 2), (50, 24))):
        foot = (50 + (end[0] - 50) * 0.3, 50)
        sketch.area(tapered(smooth([foot, bend, end]), [12, 6, 0.5]), BOLD, INK)
    sketch.area(smooth(body, closed=True), BOLD, PALE)
    sketch.lines(([[x, 60], [x, 82]] for x in (42, 50, 58)), THIN)


def _caltrop(sketch: Sketch) -> None:
    """A star of five hard wedges, each with two long spines."""
    for k in range(5):
        turn = UP + 2 * math.pi * k / 5
        for side in (-1, 1):
            foot = on(on((50, 50), turn, 25), turn + math.pi / 2, side * 9)
            sketch.area(tapered(ray(foot, turn + side * 0.35, -3, 24), [7, 0.4]), THIN, INK)
        wedge = [
            on((50, 50), turn, 4),
            on(on((50, 50), turn, 24), turn - math.pi / 2, 16),
            on((50, 50), turn, 31),
            on(on((50, 50), turn, 24), turn + math.pi / 2, 16),
        ]
        sketch.area(wedge, BOLD, PALE)


def _grass_burr(sketch: Sketch) -> None:
    sketch.line([[50, 104], [50, 70]], THIN)
    for k in range(18):
        turn = 2 * math.pi * (k + 0.5) / 18
        sketch.area(tapered(ray((50, 46), turn, 22, 42), [6, 0.4]), THIN, INK)
    sketch.area(oval(50, 46, 25), BOLD, PALE)
    sketch.area(scale((50, 64), UP, 40, 0.28), THIN)
    sketch.line([[50, 60], [50, 30]], FINE)


def _ring(bristles: bool, sketch: Sketch) -> None:
    """A ring of wedges in a leafy cup, from above, as the renderer has it."""
    for k in range(5):
        sketch.area(one_petal((50, 50), UP + 1.2566 * k + 0.6, 10, 49, 40, tip="point"), THIN)
    count = 9 if bristles else 10
    if bristles:
        for k in range(count):
            turn = 2 * math.pi * (k + 0.5) / count + UP
            for off in (-0.1, 0.1):
                sketch.line(ray((50, 50), turn + off, 28, 49), 2.2)
    sketch.area(oval(50, 50, 33), BOLD, PALE)
    sketch.lines((ray((50, 50), UP + 2 * math.pi * k / count, 8, 33) for k in range(count)), BOLD)
    sketch.area(oval(50, 50, 8), BOLD)


def _grain(sketch: Sketch) -> None:
    """A grain between two open scales."""
    sketch.line([[50, 104], [50, 92]], THIN)
    for side in (-1, 1):
        sketch.area(scale((50, 94), UP + side * 0.5, 78, 0.16), THIN)
    sketch.area(oval(50, 56, 14, 27), BOLD, PALE)
    sketch.line([[50, 36], [50, 78]], THIN)


def _twin(sketch: Sketch) -> None:
    """Two round halves side by side: the left with hooks, the right bare."""
    sketch.line(smooth([[50, 104], [51, 80], [50, 56]]), THIN)
    for k in range(11):
        turn = UP - 0.35 - 2.75 * k / 10 - 0.0
        foot, tip = on((31, 50), turn, 20), on((31, 50), turn, 29)
        sketch.line(smooth([foot, tip, on(tip, turn + 1.3, 4.5), on(tip, turn + 2.4, 5)]), 2)
    for x in (31, 69):
        sketch.area(oval(x, 50, 21), BOLD, PALE)
    sketch.line(bow(69, 50, 14, 14, -2.7, -1.7), THIN)


FIGURES: Mapping[str, Mapping[str, Draw]] = {
    "seed_structure": {
        "parachutes": _parachutes,
        "woolly_seeds": _woolly,
        "winged_spine_seed": _winged_spine,
        "coiled_burr": _coiled,
        "nutlets": _nutlets,
        "plain_seed": _plain,
        "three_spined": _three_spined,
        "caltrop": _caltrop,
        "grass_burr": _grass_burr,
        "mallow_ring": lambda sketch: _ring(False, sketch),
        "bristly_ring": lambda sketch: _ring(True, sketch),
        "grass_grain": _grain,
        "hooked_twin": _twin,
    },
}
