"""Heads of the daisy family from the side, and their flat seeds."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import partial

import numpy as np

from training.drawn.line.canvas import BOLD, FINE, INK, PALE, THIN, Points, Sketch
from training.drawn.line.petal import one_petal
from training.drawn.line.shape import along, on, smooth, tapered, tube
from training.drawn.line.surface import curl

Draw = Callable[[Sketch], None]
UP = -math.pi / 2


def _florets(sketch: Sketch) -> None:
    """Strap florets that fan out over a cup at (50, 50)."""
    for lean in (-1.25, 1.25, -0.84, 0.84, -0.42, 0.42, 0.0):
        sketch.area(one_petal((50, 52), UP + lean, 6, 44, 15, tip="strap"), THIN)


def _cup(sketch: Sketch, weight: float, fill: str | None = PALE) -> None:
    """The inner bracts: upright, in one row."""
    sketch.area(smooth([[34, 48], [33, 64], [40, 78], [50, 82], [60, 78], [67, 64], [66, 48]]), weight, fill)
    sketch.lines((smooth([[50 + x, 49], [50 + x * 1.02, 64], [50 + x * 0.6, 79]]) for x in (-8, 0, 8)), THIN)


_BENT = ([[14, 66], [30, 66], [40, 84]], [[9, 78], [22, 78], [28, 98]])


def _outer(kind: str, sketch: Sketch) -> None:
    sketch.area(tube([[50, 104], [50, 80]], 5), THIN)
    _florets(sketch)
    if kind == "bent_back":
        _cup(sketch, THIN, None)
        bent = [[[50 + s * x, y] for x, y in path] for s in (-1, 1) for path in _BENT]
        for path in (*bent, [[50, 80], [50.5, 90], [50, 104]]):
            sketch.area(tapered(smooth(path), [8, 9, 7, 0.4]), BOLD, PALE)
        return
    _cup(sketch, BOLD)
    for x, y, lean in ((38, 76, -0.24), (62, 76, 0.24), (50, 80, 0.0)):
        sketch.area(one_petal((x, y), UP + lean, 0, 19, 10, tip="point"), BOLD, PALE)
    if kind == "bristle_row":
        for side in (-1, 1):
            for k in range(5):
                high, out = 53 + 5.2 * k, 50 + side * (17.5 - max(0, k - 2) * 2.2)
                sketch.line([[out, high], [out + side * 14, high - 5]], 2.3)
        for x in (42, 50, 58):
            sketch.lines(
                ([[50 + (x - 50) * 1.1, 52 + 4.6 * k], [53.5 + (x - 50) * 1.1, 47.5 + 4.6 * k]] for k in range(4)), 1.8
            )


def _bud(sketch: Sketch, weight: float, fill: str | None = PALE, scales: bool = True) -> Points:
    """An unopened head: overlapping bracts with a tuft at the mouth."""
    sketch.area(tube([[50, 104], [50, 82]], 6), THIN)
    sketch.area(smooth([[40, 22], [43, 10], [47, 14], [50, 7], [53, 14], [57, 10], [60, 22]]), THIN)
    outline = smooth([[40, 18], [29, 42], [29, 66], [40, 83], [50, 86], [60, 83], [71, 66], [71, 42], [60, 18]])
    sketch.area(outline, weight, fill)
    for y, half in ((38, 14), (56, 20), (72, 19)) if scales else ():
        sketch.lines(
            (
                smooth(
                    [
                        [50 + (k - 1) * half * 0.66 - half * 0.33, y + 10],
                        [50 + (k - 1) * half * 0.66, y - 8],
                        [50 + (k - 1) * half * 0.66 + half * 0.33, y + 10],
                    ],
                    each=4,
                )
                for k in range(3)
            ),
            THIN,
        )
    return outline


def _bract_hairs(kind: str, sketch: Sketch) -> None:
    outline = _bud(
        sketch, BOLD if kind == "none" else THIN, PALE if kind in ("none", "spiny") else None, kind != "woolly"
    )
    if kind == "hairy":
        for k in range(24):
            at, _ = along(outline, (k + 0.5) / 24)
            side = -1 if at[0] < 50 else 1
            sketch.line([at, on(at, (0 if side > 0 else math.pi) + side * 0.25 * (1 if at[1] > 60 else -1), 12)], 2)
        for k in range(12):
            x, y = 37 + 8.4 * (k % 4), 36 + 15 * (k // 4)
            sketch.line([[x, y], [x + (x - 50) * 0.2, y - 7]], 2)
    elif kind == "woolly":
        for k in range(24):
            at, _ = along(outline, (k + 0.5) / 24)
            sketch.line(curl(at, k * 2.4, 6.2), 1.8)
        for k in range(16):
            far = math.sqrt((k + 0.5) / 16)
            sketch.line(
                curl((50 + 16 * far * math.cos(k * 2.4), 53 + 26 * far * math.sin(k * 2.4)), k * 1.7, 5.2), THIN
            )
        for k in range(7):
            x = 32 + 6 * k
            sketch.line(smooth([[x, 44 + 4 * (k % 3)], [x + 2, 60], [x - 1, 70]]), THIN)
    elif kind == "spiny":
        for k in range(11):
            at, _ = along(outline, (k + 0.5) / 11)
            turn = math.atan2(at[1] - 56, (at[0] - 50) * 1.3)
            sketch.area(tapered([on(at, turn, -2), on(at, turn, 9), on(at, turn, 18)], [5, 3, 0.3]), THIN, INK)
        for x, y in ((42, 44), (58, 44), (50, 56), (40, 66), (60, 66)):
            sketch.area(tapered([[x, y], [x, y - 6], [x, y - 13]], [4.4, 2.6, 0.3]), THIN, INK)


def _wings(kind: str, sketch: Sketch) -> None:
    """A flat seed, face on, its spine-like style at the tip."""
    sketch.line([[50, 22], [50, 3]], THIN)
    if kind == "broad":
        for side in (-1, 1):
            wing = [
                [50, 20],
                [50 + side * 26, 12],
                [50 + side * 42, 34],
                [50 + side * 40, 62],
                [50 + side * 24, 84],
                [50, 92],
            ]
            sketch.area(smooth(wing), BOLD)
            sketch.lines((smooth([[50 + side * 16, y], [50 + side * 38, y - 4]]) for y in (36, 52, 66)), FINE)
    elif kind == "ribs":
        for side in (-1, 1):
            t = np.linspace(0, 1, 60)
            edge = np.stack(
                [50 + side * (9 + 14 * np.sin(np.pi * t) ** 0.6 + 3 * np.sin(t * 2 * np.pi * 6)), 22 + 66 * t], axis=1
            )
            sketch.area(np.concatenate([edge, [[50, 88], [50, 22]]]), BOLD, PALE)
            sketch.lines(([[50 + side * 15, y], [50 + side * 22, y + 1]] for y in range(34, 82, 11)), 2.2)
    body = smooth([[50, 20], [62, 36], [64, 60], [58, 82], [50, 92], [42, 82], [36, 60], [38, 36]], closed=True)
    sketch.area(body, BOLD if kind == "none" else THIN, PALE if kind == "none" else None)
    sketch.line([[50, 30], [50, 82]], FINE)


FIGURES: Mapping[str, Mapping[str, Draw]] = {
    "outer_bracts": {kind: partial(_outer, kind) for kind in ("bent_back", "pressed", "bristle_row")},
    "head_bract_hairs": {kind: partial(_bract_hairs, kind) for kind in ("none", "hairy", "woolly", "spiny")},
    "seed_wings": {kind: partial(_wings, kind) for kind in ("none", "broad", "ribs")},
}
