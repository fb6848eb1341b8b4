"""What is on and in a leaf: hairs, marks, the underside, how it bends; the middle leaflet."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import partial

import numpy as np

from training.drawn.line.blade import blade, leaf
from training.drawn.line.canvas import (
    BOLD,
    FINE,
    INK,
    PALE,
    THIN,
    Points,
    Sketch,
    as_area,
    is_inside,
    wider,
    within,
    without,
)
from training.drawn.line.shape import along, bow, box, drop, hatching, on, oval, put, smooth, tapered
from training.drawn.line.sign import finger, sign

Draw = Callable[[Sketch], None]
GOLDEN = 2.39996


def _hair_leaf(sketch: Sketch) -> Points:
    sketch.line([[50, 99], [50, 90]], THIN)
    return leaf(sketch, (50, 90), (50, 10), "oval", ratio=0.62, rib=THIN)


def _edge_hairs(outline: Points, number: int, far: float, lean: float = 0.35) -> list[Points]:
    """Hairs that stand out from the edge of an upright blade, towards its tip."""
    hairs = []
    for k in range(number):
        at, _ = along(outline, 0.03 + 0.94 * (k + 0.5) / number)
        side = 1 if at[0] > 50 else -1
        hairs.append((at, math.pi / 2 - side * math.pi / 2 - side * lean))
    return [np.array([at, on(at, turn, far)]) for at, turn in hairs]


def _no_hairs(sketch: Sketch) -> None:
    sketch.line([[50, 99], [50, 90]], THIN)
    leaf(sketch, (50, 90), (50, 10), "oval", weight=BOLD, fill=PALE, ratio=0.62, rib=THIN)
    for side in (-1, 1):
        sketch.line(smooth([[50 + 13 * side, 66], [50 + 15 * side, 52], [50 + 11 * side, 36]]), FINE)


def _soft(sketch: Sketch) -> None:
    outline = _hair_leaf(sketch)
    for hair in _edge_hairs(outline, 16, 10):
        (x, y), (u, v) = hair
        sketch.line(smooth([[x, y], [(x + u) / 2, (y + v) / 2 + 1.8], [u, v - 1]]), 2)
    for x, y in ((36, 52), (42, 34), (60, 42), (63, 62), (40, 70), (57, 26)):
        sketch.line(smooth([[x, y], [x + 2, y - 4], [x + 6, y - 6]]), 2)


def _bristly(sketch: Sketch) -> None:
    outline = _hair_leaf(sketch)
    for hair in _edge_hairs(outline, 22, 13, 0.15):
        sketch.line(hair, 2.2)
    for x, y in ((36, 56), (41, 40), (60, 44), (64, 60), (39, 71), (57, 28), (58, 74)):
        sketch.area(oval(x, y, 1.9), 0, INK)
        sketch.line([[x, y], [x + 4, y - 8]], 2.2)


def _woolly(sketch: Sketch) -> None:
    outline = blade("oval", (50, 90), (50, 10), ratio=0.62)
    sketch.line([[50, 99], [50, 90]], THIN)
    sketch.area(wider(outline, 1.5), THIN, PALE)
    for k in range(22):
        at, _ = along(outline, (k + 0.5) / 22)
        sketch.line(curl(at, k * GOLDEN, 5.2), 1.8)
    for k in range(22):
        far = math.sqrt((k + 0.5) / 22)
        at = (50 + 21 * far * math.cos(k * GOLDEN), 51 + 32 * far * math.sin(k * GOLDEN))
        if is_inside(outline, *at):
            sketch.line(curl(at, k * 1.7, 5), THIN)


def curl(at: tuple[float, float], turn: float, size: float) -> Points:
    """One curl of wool."""
    return put(
        smooth([[-1.2, 0.1], [-0.5, -0.75], [0.45, -0.45], [0.35, 0.45], [-0.35, 0.5], [-0.2, -0.1]], each=4),
        at,
        turn,
        size,
    )


def _gland(sketch: Sketch, hair: Points, size: float = 2.0) -> None:
    """A hair with a drop at its end."""
    sketch.line(hair, THIN)
    sketch.area(oval(float(hair[1, 0]), float(hair[1, 1]), size), 0, INK)


def _sticky_hairs(sketch: Sketch) -> None:
    outline = _hair_leaf(sketch)
    for hair in _edge_hairs(outline, 15, 9, 0.25):
        _gland(sketch, hair)
    for x, y in ((38, 56), (42, 38), (60, 46), (61, 66), (41, 72)):
        _gland(sketch, np.array([[x, y], [x + 2, y - 6]]))
    finger(sketch, (74, 52), math.pi, 17, 40)
    for y in (47, 53, 58):
        sketch.line(smooth([[62, y + 2], [68, y + 1.5], [75 + abs(y - 52) * 0.3, y]]), BOLD)


def _turned(kind: str, sketch: Sketch) -> None:
    """A leaf as it grows, and, large, the same leaf turned over."""
    sketch.line([[17, 98], [17, 90]], THIN)
    leaf(sketch, (17, 90), (17, 50), "oval", ratio=0.66, veins=3)
    sketch.line(bow(36, 40, 20, 30, -2.9, -1.75), THIN)
    sketch.lines(([[33.5, 10.5], [25, 9]], [[33.5, 10.5], [28, 18]]), THIN)
    flap = blade("oval", (64, 90), (64, 6), ratio=0.72)
    sketch.line([[64, 100], [64, 90]], BOLD)
    sketch.area(flap, BOLD, PALE if kind == "green" else None)
    _UNDERSIDES[kind](sketch, flap)
    sketch.line([[64, 90], [64, 16]], BOLD)
    if kind == "purple":
        sign(sketch, "purple")


def _green(sketch: Sketch, flap: Points) -> None:
    veins = ([[64, 80 - 17 * k], [64 + side * 40, 58 - 17 * k]] for k in range(4) for side in (-1, 1))
    sketch.lines_in(wider(as_area(flap), -4), veins, THIN)


def _felt(sketch: Sketch, flap: Points) -> None:
    for k in range(26):
        far = math.sqrt((k + 0.5) / 26)
        at = (64 + 25 * far * math.cos(k * GOLDEN), 50 + 36 * far * math.sin(k * GOLDEN))
        if is_inside(wider(as_area(flap), -4), *at) and abs(at[0] - 64) > 4:
            sketch.line(curl(at, k * 1.7, 4), THIN)
    sketch.lines((_fuzz(flap, k / 44) for k in range(44)), THIN)


def _dark(sketch: Sketch, flap: Points) -> None:
    sketch.area(flap, 0, PALE, hides=False)
    sketch.lines_in(flap, hatching(3.6, 0.75), THIN)


def _dotted(sketch: Sketch, flap: Points) -> None:
    for margin, number in ((5.0, 26), (10.5, 18)):
        ring = np.asarray(wider(as_area(flap), -margin).exterior.coords)
        for k in range(number):
            at, _ = along(ring, (k + 0.5) / number)
            if abs(at[0] - 64) > 3.5:
                sketch.area(oval(*at, 2.1), 0, INK, hides=False)


_UNDERSIDES: Mapping[str, Callable[[Sketch, Points], None]] = {
    "green": _green,
    "white_felt": _felt,
    "purple": _dark,
    "dotted": _dotted,
}


def _fuzz(outline: Points, t: float) -> Points:
    at, way = along(outline, t)
    return np.array([at, on(at, way - math.pi / 2, 3.4)])


def _marked(kind: str, sketch: Sketch) -> None:
    sketch.line([[50, 99], [50, 90]], THIN)
    whole = leaf(sketch, (50, 90), (50, 6), "oval", weight=THIN, fill=PALE, ratio=0.74, rib=0)
    if kind == "dark_spot":
        sketch.area(smooth([[50, 30], [63, 44], [60, 56], [50, 64], [40, 56], [37, 44]], closed=True), BOLD, INK)
    elif kind == "pale_crescent":
        band = smooth(
            [[20, 60], [34, 54], [50, 36], [66, 54], [80, 60], [80, 76], [64, 68], [50, 52], [36, 68], [20, 76]],
            closed=True,
        )
        sketch.area(within(whole, band), BOLD)
    elif kind == "flecks":
        for k in range(30):
            far = math.sqrt((k + 0.5) / 30)
            at = (50 + 25 * far * math.cos(k * GOLDEN), 49 + 34 * far * math.sin(k * GOLDEN))
            if is_inside(wider(as_area(whole), -4), *at):
                sketch.area(oval(*at, 2.2 + 0.7 * (k % 2), 1.9, k), 0, INK, hides=False)
    else:
        sketch.area(whole, BOLD, None, hides=False)
        sketch.line([[50, 90], [50, 16]], THIN)


def _pinch(sketch: Sketch, y: float = 50) -> None:
    """Thumb and finger that hold a leaf at the left."""
    finger(sketch, (31, y - 1), 0.42, 19, 50, nail=False)
    finger(sketch, (33, y + 4), -0.5, 20, 50)


def _thin(sketch: Sketch) -> None:
    path = smooth([[22, 48], [40, 44], [60, 48], [75, 64], [80, 90]])
    near = smooth([[36, 49], [52, 53], [63, 64], [69, 78], [80, 92]])
    far = smooth([[30, 46], [48, 32], [70, 36], [86, 56], [80, 92]])
    sketch.area(np.concatenate([far, near[::-1]]), BOLD, PALE)
    sketch.line(path, THIN)
    _pinch(sketch)


def _fleshy(sketch: Sketch) -> None:
    body = smooth(
        [[20, 46], [40, 34], [66, 26], [84, 32], [90, 48], [84, 64], [66, 70], [40, 60], [20, 54]], closed=True
    )
    sketch.area(without(body, box(76, 0, 120, 120)), BOLD, PALE)
    sketch.area(oval(76, 48.5, 8, 20.5), BOLD)
    for x, y in ((76, 39), (74, 48), (78, 56), (79, 46)):
        sketch.area(oval(x, y, 1.6), FINE)
    sketch.area(drop(80, 82, 6), BOLD)
    sketch.area(drop(92, 72, 3.6), THIN)
    _pinch(sketch)


def _stiff(sketch: Sketch) -> None:
    sketch.area(tapered(smooth([[22, 50], [60, 49], [97, 47]]), [14, 24, 24, 17, 1]), BOLD, PALE)
    sketch.line([[24, 50], [90, 47.5]], BOLD)
    sketch.lines(([[x, 49.5], [x + 9, 49.5 + s * 9]] for x in (44, 57, 70) for s in (-1, 1)), FINE)
    _pinch(sketch)
    # It springs back: a double arrow beside the tip.
    for side in (-1, 1):
        sketch.line(bow(40, 48, 53, 53, side * 0.32, side * 0.6), THIN)
        end = np.array([40 + 53 * math.cos(side * 0.32), 48 + 53 * math.sin(side * 0.32)])
        sketch.lines(([end, end - np.array([5.5, -side * 1.6])], [end, end + np.array([1.5, side * 5.5])]), THIN)


def _clinging(sketch: Sketch) -> None:
    finger(sketch, (50, 38), math.pi / 2, 30, 60)
    leaf(sketch, (20, 66), (92, 56), "oval", weight=BOLD, fill=PALE, ratio=0.42, rib=THIN)
    for x in (40, 47, 54, 61):
        sketch.area(tapered([[x, 36], [x, 42], [x, 48], [x, 53]], [5, 2, 2, 5]), THIN, INK)


def _middle(kind: str, sketch: Sketch) -> None:
    off = 24.0 if kind == "stalked" else 1.0
    hub = (50.0, 68.0)
    sketch.line([[50, 99], hub], THIN)
    for side in (-1, 1):
        base = on(hub, -math.pi / 2 + side * 1.25, 3)
        sketch.line([hub, base], THIN)
        leaf(sketch, base, on(base, -math.pi / 2 + side * 1.25, 40), "oval", ratio=0.62)
    base = (50.0, hub[1] - off)
    leaf(sketch, base, (50, base[1] - 40), "oval", weight=THIN, fill=PALE, ratio=0.62)
    if kind == "stalked":
        sketch.line([hub, base], 4)
    else:
        sketch.area(oval(*hub, 4), 0, INK)
        sketch.area(oval(*hub, 9), BOLD, hides=False)


FIGURES: Mapping[str, Mapping[str, Draw]] = {
    "leaf_hairs": {"none": _no_hairs, "soft": _soft, "bristly": _bristly, "woolly": _woolly, "sticky": _sticky_hairs},
    "leaf_underside": {kind: partial(_turned, kind) for kind in ("green", "white_felt", "purple", "dotted")},
    "leaf_mark": {kind: partial(_marked, kind) for kind in ("none", "dark_spot", "pale_crescent", "flecks")},
    "leaf_texture": {"thin": _thin, "fleshy": _fleshy, "stiff": _stiff, "sticky": _clinging},
    "middle_leaflet": {kind: partial(_middle, kind) for kind in ("stalked", "level")},
}
