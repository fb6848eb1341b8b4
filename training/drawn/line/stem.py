"""Stems: cut across, their hairs, colour and sap; what a crushed leaf smells of; what pricks."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import partial

import numpy as np

from training.drawn.line.blade import leaf, prickly
from training.drawn.line.canvas import BOLD, FINE, INK, PALE, THIN, Points, Sketch, merged
from training.drawn.line.shape import bow, box, drop, hatching, on, oval, put, ray, smooth, tapered, tube, waves
from training.drawn.line.sign import finger, glass, nose, ouch, sign

Draw = Callable[[Sketch], None]


def polygon(corners: int, radius: float, turn: float, soft: float = 0.16) -> Points:
    """A regular polygon with softened corners, about the origin; ``turn`` (rad) is where a corner lies."""
    points = []
    for k in range(corners):
        a = turn + 2 * math.pi * k / corners
        here, there = np.array(on((0, 0), a, radius)), np.array(on((0, 0), a + 2 * math.pi / corners, radius))
        points += [here + (there - here) * soft, here + (there - here) * (1 - soft)]
    rounded = np.array(points)
    out = []
    for k in range(corners):
        a, b = rounded[2 * k - 1], rounded[2 * k]
        corner = on((0, 0), turn + 2 * math.pi * k / corners, radius)
        t = np.linspace(0, 1, 5)[:, None]
        out.append((1 - t) ** 2 * a + 2 * t * (1 - t) * np.array(corner) + t**2 * b)
    return np.concatenate(out)


def cut_stem(
    sketch: Sketch, section: Points, ridges: list[float], x: float = 50, top: float = 33, bottom: float = 110
) -> Points:
    """A stem that is cut across: its face, bold, on a stub; ``ridges`` are the x of its visible corners."""
    face = put(section, (x, top), squash=0.62)
    (left, one), (right, other) = face[face[:, 0].argmin()], face[face[:, 0].argmax()]
    sketch.area([[left, one], [left, bottom], [right, bottom], [right, other]], THIN)
    for ridge in ridges:
        low = float(face[np.abs(face[:, 0] - x - ridge) < 4, 1].max())
        sketch.line([[x + ridge, low], [x + ridge, bottom]], THIN)
    sketch.area(face, BOLD, PALE)
    return face


def _section(kind: str, sketch: Sketch) -> None:
    if kind == "round":
        cut_stem(sketch, oval(0, 0, 30), [])
    elif kind == "three_cornered":
        cut_stem(sketch, polygon(3, 42, math.pi / 2, 0.1) + np.array([0, -8]), [0])
    elif kind == "square":
        cut_stem(sketch, polygon(4, 41, math.pi / 2 - 0.42, 0.08), [16.7])
    else:
        cut_stem(sketch, oval(0, 0, 41, 13), [])


def _hollow(hollow: bool, sketch: Sketch) -> None:
    cut_stem(sketch, oval(0, 0, 30), [])
    if hollow:
        sketch.area(oval(50, 33, 20, 12.4), BOLD)
        sketch.lines_in(
            oval(50, 33, 20, 12.4), ([[x, 20], [x, 30 - abs(x - 50) * 0.25]] for x in range(36, 66, 4)), THIN
        )
    else:
        for k in range(14):
            far = math.sqrt((k + 0.5) / 14)
            sketch.area(
                oval(50 + 22 * far * math.cos(k * 2.4), 33 + 13.5 * far * math.sin(k * 2.4), 1.3), 0, INK, hides=False
            )


def _ridged(ridged: bool, sketch: Sketch) -> None:
    if not ridged:
        cut_stem(sketch, oval(0, 0, 30), [])
        sketch.line([[30, 54], [30, 90]], FINE)
        return
    around = np.linspace(0, 2 * math.pi, 160, endpoint=False)
    out = 31 + 4.5 * np.abs(np.cos(around * 5.5)) ** 0.7 * 2 - 4.5
    face = np.stack([out * np.cos(around), out * np.sin(around)], axis=1)
    cut_stem(sketch, face, [])
    for k in range(6):
        a = (math.pi * k + math.pi / 2) / 5.5 if k < 5 else 0
        if 0 < a < math.pi:
            x = 50 + 27 * math.cos(a)
            sketch.line([[x, 33 + 27 * 0.62 * math.sin(a) + 2], [x, 110]], BOLD)


def _leaf_hollow(hollow: bool, sketch: Sketch) -> None:
    """A strap leaf cut half way up: a tube, or a flat blade with a keel."""
    if hollow:
        sketch.area([[33, 30], [38, 110], [62, 110], [67, 30]], THIN)
        sketch.area(oval(50, 30, 17, 9), BOLD, PALE)
        sketch.area(oval(50, 30, 12.5, 6), BOLD)
        sketch.line(bow(50, 33, 10, 4.6, math.pi, 2 * math.pi), THIN)
        return
    face = [[12, 22], [14, 18], [50, 34], [86, 18], [88, 22], [52, 44], [48, 44]]
    sketch.area([[12, 22], [26, 110], [74, 110], [88, 22], [50, 34]], THIN)
    sketch.line([[50, 44], [50, 110]], THIN)
    sketch.area(face, BOLD, PALE)


def _hair_stem(sketch: Sketch, weight: float = THIN, fill: str | None = None) -> None:
    sketch.area(box(36, -4, 64, 104), weight, fill)
    sketch.lines((smooth([[36, 77], [50, 81], [64, 77]]), smooth([[36, 81], [50, 85], [64, 81]])), FINE)


def _stem_hairs(kind: str, sketch: Sketch) -> None:
    _hair_stem(sketch, *((BOLD, PALE) if kind == "none" else ()))
    rows = np.arange(7, 98, 8.4)
    if kind == "one_line":
        sketch.lines((smooth([[50, y], [54, y - 3], [57, y - 8]]) for y in np.arange(10, 98, 6)), 2.2)
        sketch.line([[50, -4], [50, 104]], FINE)
    elif kind == "all_round":
        for k, y in enumerate(rows):
            sketch.lines(([[36, y], [23, y - 5]], [[64, y], [77, y - 5]]), 2.2)
            sketch.lines(([[x, y + 2 * (k % 2)], [x, y - 5 + 2 * (k % 2)]] for x in (43, 50, 57)), 2.2)
    elif kind == "sticky":
        for y in range(8, 98, 11):
            for start, end in (
                ((36, y), (25, y - 4)),
                ((64, y), (75, y - 4)),
                ((46, y), (46, y - 6)),
                ((56, y + 4), (56, y - 2)),
            ):
                sketch.line([start, end], THIN)
                sketch.area(oval(*end, 2.3), 0, INK, hides=False)
        finger(sketch, (84, 50), math.pi, 18, 40)
        sketch.lines((smooth([[66, 48 + y], [75, 49 + y * 0.8], [86, 50 + y]]) for y in (-6, 0, 6)), BOLD)
    elif kind == "star":
        for k, y in enumerate((10, 26, 42, 58, 92)):
            for x in (43 + 3 * (k % 2), 57 - 3 * (k % 2)):
                sketch.lines((ray((x, y + (x > 50) * 6), t, 0, 3.6) for t in np.arange(5) * 1.2566), THIN)
        rim, handle = glass(60, 46, 27)
        sketch.area(handle, THIN)
        sketch.area(rim, THIN)
        for x, y, size in ((52, 40, 14), (68, 57, 11)):
            sketch.lines((ray((x, y), t, 0, size) for t in np.arange(6) * 1.0472 + 0.3), BOLD)


def _colour(red: bool, sketch: Sketch) -> None:
    """The low part of a stem, with a leaf; a reddish one is hatched dark."""
    shape = merged(tube(smooth([[34, 104], [36, 60], [34, -4]]), 21, 17))
    sketch.area(tube(smooth([[40, 46], [56, 38], [66, 26]]), 5, 3), THIN)
    leaf(sketch, (66, 26), (96, 6), "oval", ratio=0.55)
    sketch.area(shape, BOLD, PALE)
    if red:
        sketch.lines_in(shape, hatching(4.2, 0.7), BOLD)
    sign(sketch, "red" if red else "green")


def _sap(milk: bool, sketch: Sketch) -> None:
    """A stem that is snapped, its top hanging over; milk wells up and runs down."""
    sketch.area(tube(smooth([[55, 42], [74, 30], [97, 46]]), 15, 13), THIN)
    leaf(sketch, (84, 32), (98, 4), "oval", ratio=0.5, rib=FINE)
    sketch.area(tube([[40, 104], [40, 46]], 19), THIN)
    sketch.area(
        smooth([[30.5, 47], [35, 42], [40, 45], [45, 40], [50, 44], [56, 37], [60, 40], [56, 50], [49.5, 52]]), THIN
    )
    if milk:
        flow = [
            [29, 46],
            [35, 38],
            [45, 36],
            [52, 42],
            [51, 50],
            [46, 56],
            [45, 66],
            [41, 70],
            [37, 64],
            [36, 56],
            [31, 54],
        ]
        sketch.area(smooth(flow, closed=True), BOLD)
        sketch.area(drop(62, 62, 6), BOLD)
        sketch.area(drop(70, 84, 8), BOLD)
        sketch.area(drop(26, 78, 6), BOLD)
    else:
        sketch.area(oval(40, 47, 9.5, 4.4), BOLD, PALE)


def _crushed(sketch: Sketch) -> None:
    """A leaf rubbed between finger and thumb, at the lower left."""
    crumpled = [
        [30, 70],
        [38, 62],
        [44, 67],
        [52, 60],
        [58, 68],
        [66, 68],
        [62, 76],
        [68, 84],
        [58, 86],
        [52, 94],
        [44, 87],
        [36, 90],
        [34, 80],
    ]
    sketch.area(crumpled, THIN, PALE)
    sketch.lines(([[40, 68], [48, 77], [60, 72]], [[38, 86], [48, 77], [56, 84]]), FINE)
    finger(sketch, (47, 78), 0.32, 17, 60)
    finger(sketch, (50, 88), -0.42, 18, 60, nail=False)
    nose(sketch)


def _smell(kind: str, sketch: Sketch) -> None:
    _crushed(sketch)
    if kind == "onion":
        bulb = [[44, 14], [45, 22], [58, 32], [59, 46], [48, 55], [38, 55], [27, 46], [28, 32], [41, 22]]
        sketch.area(smooth(bulb, closed=True), BOLD, PALE)
        sketch.lines((smooth([[43, 20], [43 + w, 36], [43 + w * 0.3, 55]]) for w in (-8, 0, 8)), THIN)
        sketch.lines((smooth([[43, 14], [43 + w / 2, 9], [43 + w, 1]]) for w in (-6, 0, 6)), BOLD)
        sketch.lines(([[43 + w / 2, 55], [43 + w, 59]] for w in (-5, 0, 5)), THIN)
    elif kind == "other":
        for x, y, end in ((32, 56, (46, 6)), (44, 54, (58, 8)), (56, 56, (68, 14))):
            sketch.line(waves((x, y), end, 4.2, 1.9), BOLD)


def burr(sketch: Sketch, x: float, y: float, radius: float, spikes: int, far: float, weight: float) -> None:
    """A round fruit with spines."""
    for k in range(spikes):
        turn = 2 * math.pi * k / spikes + 0.2
        sketch.area(tapered(ray((x, y), turn, radius * 0.9, radius + far), [radius * 0.34, 0.2]), weight, INK)
    sketch.area(oval(x, y, radius), weight, PALE)


def _pricks(kind: str, sketch: Sketch) -> None:
    """A finger that presses a leaf or a fruit; what pricks is bold."""
    if kind == "on_leaf":
        prickly(sketch, (20, 94), (52, 10), 0.56)
        finger(sketch, (74, 66), math.pi - 0.2, 22, 50)
        ouch(sketch, (70, 50), -0.9, 5, 13)
        return
    sketch.line(smooth([[22, 104], [26, 78], [24, 38]]), THIN)
    bare = kind == "none"
    leaf(sketch, (25, 84), (66, 70), weight=BOLD if bare else THIN, fill=PALE if bare else None, ratio=0.44)
    if bare:
        sketch.area(oval(25, 32, 15), BOLD, PALE)
        finger(sketch, (41, 34), math.pi - 0.1, 22, 70)
    else:
        burr(sketch, 28, 34, 14, 12, 12, BOLD)
        finger(sketch, (55, 38), math.pi - 0.1, 22, 60)
        ouch(sketch, (54, 22), -0.9, 5, 13)


FIGURES: Mapping[str, Mapping[str, Draw]] = {
    "stem_section": {kind: partial(_section, kind) for kind in ("round", "three_cornered", "square", "flattened")},
    "stem_hairs": {kind: partial(_stem_hairs, kind) for kind in ("none", "one_line", "all_round", "sticky", "star")},
    "stem_colour": {"green": partial(_colour, False), "reddish": partial(_colour, True)},
    "stalk_hollow": {"present": partial(_hollow, True), "absent": partial(_hollow, False)},
    "stalk_ridged": {"present": partial(_ridged, True), "absent": partial(_ridged, False)},
    "leaf_hollow": {"present": partial(_leaf_hollow, True), "absent": partial(_leaf_hollow, False)},
    "milky_sap": {"present": partial(_sap, True), "absent": partial(_sap, False)},
    "crushed_smell": {kind: partial(_smell, kind) for kind in ("none", "onion", "other")},
    "spines": {kind: partial(_pricks, kind) for kind in ("none", "on_fruit", "on_leaf")},
}
