"""Flowers: how they are built, their petals and what colours they have."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import partial

import numpy as np

from training.drawn.chance import dice
from training.drawn.flower import FlowerForm, lipped
from training.drawn.line.blade import leaf
from training.drawn.line.canvas import BOLD, FINE, INK, PALE, THIN, Points, Sketch, merged
from training.drawn.line.grass import sedge_head, spikelet
from training.drawn.line.petal import dots, flower, one_petal, scaled, stamens
from training.drawn.line.shape import hatching, on, oval, put, smooth, tapered, tube
from training.drawn.line.sign import sign
from training.drawn.pea import pea_flower

Draw = Callable[[Sketch], None]
UP = -math.pi / 2


def rays(
    sketch: Sketch, x: float, y: float, radius: float, count: int = 13, weight: float = BOLD, disc: float = 0.34
) -> None:
    """A daisy from above: rays round a disc, which is left to the caller to fill."""
    for ring in (0, 1):
        for k in range(ring, count, 2):
            turn = UP + 2 * math.pi * k / count
            sketch.area(one_petal((x, y), turn, 0.2 * radius, radius, radius * 0.34, tip="strap"), weight)
    sketch.area(oval(x, y, radius * disc), weight)


def _daisy(sketch: Sketch) -> None:
    rays(sketch, 50, 50, 46)
    sketch.area(oval(50, 50, 16), BOLD, PALE)
    dots(sketch, (50, 50), 13, 13, 26, 1.1)


def _dandelion(sketch: Sketch) -> None:
    for radius, count, start in ((46, 16, 0.0), (35, 13, 0.2), (24, 9, 0.1), (13, 6, 0.3)):
        for k in range(count):
            turn = start + 2 * math.pi * k / count
            sketch.area(one_petal((50, 50), turn, radius * 0.3, radius, radius * 0.37, tip="strap"), 2.0, PALE)


def button_head(sketch: Sketch, x: float, y: float, size: float, weight: float = BOLD) -> None:
    """A head without rays, from the side: a cup of bracts and a brush of florets."""
    for k in range(9):
        off = (k - 4) / 4
        sketch.line(
            smooth(
                [
                    [x + off * size * 0.38, y],
                    [x + off * size * 0.5, y - size * 0.5],
                    [x + off * size * 0.62, y - size * (0.75 - 0.12 * off * off)],
                ]
            ),
            weight,
        )
    cup = [[-0.44, 0], [-0.6, 0.5], [-0.36, 0.98], [0, 1.08], [0.36, 0.98], [0.6, 0.5], [0.44, 0]]
    sketch.area(smooth(put(cup, (x, y), 0, size), closed=True), weight, PALE)
    sketch.lines(
        (smooth(put([[u * 0.9, 0.02], [u * 1.15, 0.5], [u * 0.7, 0.98]], (x, y), 0, size)) for u in (-0.25, 0.0, 0.25)),
        THIN,
    )


def _button(sketch: Sketch) -> None:
    sketch.area(tube([[50, 104], [50, 78]], 5), THIN)
    button_head(sketch, 50, 38, 40)


def pea(sketch: Sketch, at: tuple[float, float], size: float, weight: float = BOLD) -> None:
    """One pea flower from the side: banner, keel, wing and cup, as the renderer has them."""
    banner, wing, keel, cup = pea_flower()
    wide = np.array([1.25, 1.0])
    sketch.area(scaled(banner * wide, at, size), weight)
    sketch.lines((put([[-0.12, 0.3], [x, -0.7]], at, 0, size) for x in (-0.42, -0.26)), FINE)
    sketch.area(scaled(keel * wide, at, size), weight)
    sketch.area(scaled(wing * wide, at, size), weight, PALE)
    sketch.area(put(cup, at, 0, size), THIN)


def _pea(sketch: Sketch) -> None:
    sketch.area(tube([[35, 104], [35, 84]], 4), THIN)
    pea(sketch, (34, 46), 42)
    clover_head(sketch, 80, 66, 15)


def clover_head(sketch: Sketch, x: float, y: float, size: float, weight: float = 1.8) -> None:
    """A round head of small pea flowers."""
    sketch.area(tube([[x, 104], [x, y + size * 0.6]], 3), THIN)
    for far, number, first in ((1.0, 9, -3.6), (0.62, 6, -3.4), (0.25, 3, -2.6)):
        for k in range(number):
            turn = first + (k + 0.5) * -2 * (first + math.pi / 2) / number
            tip = on((x, y), turn, size * far)
            sketch.area(
                tapered(
                    [on(tip, turn, -size * 0.62), tip, on(tip, turn, size * 0.2)],
                    [size * 0.12, size * 0.36, size * 0.1],
                ),
                weight,
                PALE,
            )


def _petals(count: int, sketch: Sketch) -> None:
    ratio = {5: 0.86, 4: 0.98, 6: 0.62}[count]
    tip = "point" if count == 6 else "round"
    turn = UP + (math.pi / 4 if count == 4 else 0)
    flower(sketch, (50, 52 if count == 5 else 50), 46, count, ratio, BOLD, PALE, turn, tip=tip, middle=0)
    sketch.area(oval(50, 52 if count == 5 else 50, 8), THIN)
    stamens(sketch, (50, 52 if count == 5 else 50), count, 14, 1.8, FINE, turn + math.pi / count)


def _two_lipped(sketch: Sketch) -> None:
    parts = lipped(FlowerForm("lipped", (0, 0, 0)), dice(0, "line"))
    tube_part, hood, _, lip, *rest = parts
    at, size = (42.0, 47.0), 44.0
    wide = np.array([1.35, 1.0])
    sketch.area(scaled(tube_part.points * wide, at, size), BOLD, PALE)
    sketch.area(scaled(lip.points * wide, at, size), BOLD, PALE)
    sketch.area(scaled(hood.points * wide, at, size), BOLD, PALE)
    for x, y in ((60, 42), (67, 45), (60, 52)):
        sketch.area(oval(x, y, 1.7), 0, INK)
    sketch.area(put(rest[-1].points * wide, at, 0, size), THIN)


def _tiny(sketch: Sketch) -> None:
    """A leafy stem with knots of minute flowers in the angles."""
    sketch.area(tube([[50, 104], [50, 6]], 4), THIN)
    for y, side in ((82, -1), (82, 1), (54, -1), (54, 1), (28, -1), (28, 1)):
        leaf(sketch, (50 + side * 2, y), (50 + side * (46 - (82 - y) * 0.35), y - 12), "oval", ratio=0.4)
    for y in (75, 47, 21, 4):
        for dx, dy in ((-8, 2), (8, 2), (-4, -3), (4, -3), (0, 3)):
            sketch.area(oval(50 + dx * (0.8 if y < 10 else 1), y + dy, 3.9), 2.2, PALE)


def _spurge(sketch: Sketch) -> None:
    """A cup with four glands at its rim; the three-lobed capsule hangs over the side on its stalk."""
    sketch.area(tube([[40, 104], [40, 76]], 5), THIN)
    sketch.area(smooth([[17, 44], [20, 64], [30, 78], [40, 82], [50, 78], [60, 64], [63, 44]]), BOLD, PALE)
    for x, y, turn in ((14, 40, -0.35), (31, 36, 0.0), (49, 36, 0.0), (66, 40, 0.35)):
        sketch.area(oval(x, y, 9.5, 6, turn), BOLD)
        sketch.area(oval(x, y, 5, 2.6, turn), 0, INK)
    sketch.line(smooth([[41, 34], [46, 12], [62, 3], [76, 10], [80, 24]]), 4)
    for x in (71, 89, 80):
        sketch.area(oval(x, 40, 8.5 if x != 80 else 7.5, 15), BOLD, PALE)
    sketch.lines((smooth([[80, 55], [80 + w, 60], [80 + 1.6 * w, 64]]) for w in (-4, 0, 4)), THIN)


def _grass_spikelets(sketch: Sketch) -> None:
    sketch.line(smooth([[38, 104], [42, 60], [50, 20]]), THIN)
    spikelet(sketch, (50, 24), -1.35, 34, 3, BOLD)
    for y, side in ((78, 1), (66, -1), (52, 1), (40, -1)):
        spikelet(sketch, (42 + (78 - y) * 0.14, y), UP + 0.25 + side * 0.85, 34, 3, BOLD)


def _spike(sketch: Sketch) -> None:
    """A dense spike with a ring of stamens, on a bare stalk."""
    sketch.area(tube([[50, 104], [50, 62]], 4), THIN)
    ring = 46.0
    for k in range(16):
        turn = 2 * math.pi * k / 16
        end = (50 + 29 * math.cos(turn), ring + 8 * math.sin(turn))
        sketch.line([[50, ring], end], THIN)
        sketch.area(oval(*end, 2.4, 1.8), 0, INK, hides=False)
    body = smooth([[50, 4], [59, 12], [61, 40], [59, 66], [50, 72], [41, 66], [39, 40], [41, 12]], closed=True)
    sketch.area(body, BOLD, PALE)
    for row in range(8):
        for k in range(3 if row % 2 else 2):
            x = 50 + (k - (1 if row % 2 else 0.5)) * 7
            sketch.line(smooth([[x - 3, 14 + 7 * row], [x, 17.5 + 7 * row], [x + 3, 14 + 7 * row]]), THIN)


def _sepals(sketch: Sketch, weight: float = THIN) -> None:
    for lean in (-0.62, 0.62, 0.0):
        sketch.area(one_petal((50, 82), UP + lean, 0, 41, 19, tip="point"), weight, PALE)


def _petal_size(kind: str, sketch: Sketch) -> None:
    """A flower on its side: green sepals below, petals above."""
    sketch.area(tube([[50, 104], [50, 80]], 5), THIN)
    if kind == "absent":
        for turn in (-0.35, -0.12, 0.12, 0.35):
            end = on((50, 80), UP + turn, 48)
            sketch.line([(50, 80), end], THIN)
            sketch.area(oval(*end, 2.2), 0, INK)
        _sepals(sketch, BOLD)
        return
    if kind == "longer":
        for lean in (-0.6, 0.6, -0.3, 0.3, 0.0):
            sketch.area(one_petal((50, 84), UP + lean, 0, 76, 25), BOLD)
    else:
        for lean in (-1.0, 1.0, -0.33, 0.33):
            sketch.area(one_petal((50, 82), UP + lean, 0, 42, 19), BOLD)
    _sepals(sketch)


def _notch(kind: str, sketch: Sketch) -> None:
    """A flower of five petals, and one of them bold."""
    at, radius = (50.0, 58.0), 40.0
    for k in (2, 3, 1, 4, 0):
        turn = UP + 2 * math.pi * k / 5
        bold = k == 0
        weight, fill, far = (BOLD, PALE, radius * 1.32) if bold else (THIN, None, radius)
        if kind == "deep":
            halves = [one_petal(at, turn + side * 0.27, 2, far, far * 0.25) for side in (-1, 1)]
            sketch.area(merged(*halves, oval(*on(at, turn, 6), 4)), weight, fill)
        else:
            sketch.area(_one(at, turn, far, kind), weight, fill)
    sketch.area(oval(*at, 6), THIN)


def _one(at: tuple[float, float], turn: float, far: float, kind: str) -> Points:
    if kind == "none":
        return one_petal(at, turn, 2, far, far * 0.78)
    x = [0, 0.25, 0.55, 0.8, 0.95, 1.0, 0.97, 0.88, 0.78]
    y = [0.14, 0.45, 0.85, 1.0, 0.85, 0.6, 0.36, 0.14, 0.0]
    side = np.stack([np.array(x), np.array(y) * 0.39], axis=1)
    return put(smooth(np.concatenate([side, (side * [1, -1])[-2::-1]]), closed=False), at, turn, far)


def _stripe(kind: str, sketch: Sketch) -> None:
    """One large petal in front, with or without its stripe."""
    at = (40.0, 64.0)
    for k in (1, 4, 2, 3):
        sketch.area(one_petal(at, UP + 1.2566 * k, 3, 33, 27), THIN)
    bare = kind == "none"
    sketch.area(one_petal(at, UP, 2, 60, 44), BOLD if bare else THIN, PALE if bare else None)
    if not bare:
        for off in (-0.25, 0.0, 0.25):
            end = on(at, UP + off, 53 - 34 * abs(off))
            path = smooth([on(at, UP + off * 0.5, 12), on(at, UP + off * 0.85, 30), end])
            sketch.line(path, BOLD if off else 4.2)
        sign(sketch, kind)
    sketch.area(oval(*at, 6), THIN)


def _coloured(kind: str, sketch: Sketch) -> None:
    """A flower, and a thing that has its colour."""
    at = (37.0, 40.0)
    flower(sketch, at, 35, 5, 0.84, BOLD, None if kind == "white" else PALE, UP, middle=0)
    dark = {"purple": 4.0, "blue": 5.2, "brown": 3.4, "orange_red": 6.5}.get(kind)
    if dark:
        petals = merged(*(one_petal(at, UP + 1.2566 * k, 3, 35, 29) for k in range(5)))
        sketch.lines_in(petals, hatching(dark, 0.8), FINE)
    sketch.area(oval(*at, 6), THIN)
    sign(sketch, kind)


def _disc(dark: bool, sketch: Sketch) -> None:
    rays(sketch, 44, 44, 42, weight=THIN, disc=0.42)
    sketch.area(oval(44, 44, 18.5), BOLD, INK if dark else PALE)
    if not dark:
        dots(sketch, (44, 44), 14.5, 14.5, 24, 1.2)
    sign(sketch, "yellow" if not dark else "purple")


COLOURS = ("yellow", "white", "pink", "purple", "blue", "orange_red", "green", "brown")
FIGURES: Mapping[str, Mapping[str, Draw]] = {
    "flower_build": {
        "daisy": _daisy,
        "dandelion": _dandelion,
        "button": _button,
        "pea": _pea,
        "five_petals": partial(_petals, 5),
        "four_petals": partial(_petals, 4),
        "six_parts": partial(_petals, 6),
        "two_lipped": _two_lipped,
        "tiny_green": _tiny,
        "spurge_cup": _spurge,
        "grass_spikelets": _grass_spikelets,
        "sedge_spikelets": sedge_head,
        "spike": _spike,
    },
    "flower_colour": {kind: partial(_coloured, kind) for kind in COLOURS},
    "disc_colour": {"yellow": partial(_disc, False), "dark": partial(_disc, True)},
    "petal_size": {kind: partial(_petal_size, kind) for kind in ("absent", "level", "longer")},
    "petal_notch": {kind: partial(_notch, kind) for kind in ("none", "shallow", "deep")},
    "petal_stripe": {kind: partial(_stripe, kind) for kind in ("none", "pink", "purple", "green")},
}
