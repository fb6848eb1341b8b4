"""Leaves as lines, from the renderer's own outlines."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from training.drawn.leaf import RATIO, LeafForm, leaf_shape
from training.drawn.line.canvas import BOLD, FINE, INK, PALE, THIN, Points, Sketch
from training.drawn.line.shape import Place, along, between, on, smooth, tapered, tube


def blade(
    outline: str, base: Place, tip: Place, edge: str = "smooth", ratio: float | None = None, **more: Any
) -> Points:
    """The closed outline of a blade laid from base to tip."""
    form = LeafForm(outline, edge, RATIO[outline] if ratio is None else ratio, **more)
    return between(leaf_shape(form).outline, base, tip)


def leaf(
    sketch: Sketch,
    base: Place,
    tip: Place,
    outline: str = "oval",
    edge: str = "smooth",
    weight: float = THIN,
    fill: str | None = None,
    ratio: float | None = None,
    veins: int = 0,
    rib: float = THIN,
    **more: Any,
) -> Points:
    """Draw a blade with its midrib and some side veins; returns its outline."""
    shape = blade(outline, base, tip, edge, ratio, **more)
    sketch.area(shape, weight, fill)
    if rib:
        start = 0.26 if outline == "round_kidney" else 0.0
        end = {"heart": 0.72, "fishtail": 0.66}.get(outline, 0.86)
        sketch.line(between([[start, 0], [end, 0]], base, tip), rib)
    if veins:
        form = LeafForm(outline, edge, RATIO[outline] if ratio is None else ratio, **more)
        every = leaf_shape(form).veins
        pick = every[2 : 2 + 2 * veins] if outline != "round_kidney" else every
        sketch.lines((between(v * [1, 0.85], base, tip) for v in pick), FINE)
    return shape


def bent(path: Points, ratio: float, outline: str = "lance", edge: str = "smooth") -> Points:
    """A blade laid along a curved path."""
    shape = leaf_shape(LeafForm(outline, edge, ratio)).outline
    long = float(np.hypot(*np.diff(path, axis=0).T).sum())
    laid = []
    for x, y in shape.tolist():
        at, turn = along(path, min(1.0, max(0.0, x)))
        laid.append(on(at, turn + math.pi / 2, y * long))
    return np.array(laid)


def three(
    sketch: Sketch,
    hub: Place,
    turn: float,
    long: float,
    outline: str = "oval",
    weight: float = THIN,
    fill: str | None = None,
    stalk: float = 0.0,
    ratio: float | None = None,
    spread: float | None = None,
) -> None:
    """Three leaflets at the end of a stalk; ``stalk`` is how far the middle one stands off."""
    apart = spread if spread is not None else 2.09 if outline == "heart" else 1.45
    for side in (-1, 1, 0):
        way = turn + side * apart
        base = on(hub, way, stalk if side == 0 else 0.6)
        leaf(sketch, base, on(base, way, long), outline, weight=weight, fill=fill, ratio=ratio)


def feathered(
    sketch: Sketch, path: Points, pairs: int, long: float, weight: float = THIN, fill: str | None = None
) -> None:
    """Leaflets in pairs along a midrib and one at its end; the first third is stalk."""
    sketch.line(path, weight)
    for k in range(pairs):
        at, turn = along(path, 0.3 + 0.66 * k / pairs)
        for side in (-1, 1):
            way = turn + side * 1.12
            leaf(
                sketch,
                on(at, way, 1),
                on(at, way, long * (0.88 + 0.12 * k / pairs)),
                "oval",
                "smooth",
                weight,
                fill,
                0.5,
                rib=0,
            )
    at, turn = along(path, 1.0)
    leaf(sketch, at, on(at, turn, long * 1.05), "oval", "smooth", weight, fill, 0.5, rib=0)


def mirrored(outline: str, base: Place, tip: Place, edge: str, ratio: float, **more: Any) -> Points:
    """The outline of a blade whose two sides are alike."""
    whole = leaf_shape(LeafForm(outline, edge, ratio, **more)).outline
    half = whole[: len(whole) // 2]
    return between(np.concatenate([half, (half * [1, -1])[::-1]]), base, tip)


def prickly(sketch: Sketch, base: Place, tip: Place, ratio: float) -> None:
    """A blade whose lobes end in spines; both sides alike."""
    more: dict[str, Any] = {"lobe_count": 4, "lobe_depth": 0.62, "lobes": "spreading"}
    spines = leaf_shape(LeafForm("oval", "prickly", ratio, **more)).spines
    for spine in spines[: len(spines) // 2]:
        for side in (1, -1):
            path = np.linspace(spine[0] - [0.02, 0.05], spine[0] + [0.05, 0.13], 3) * [1, side]
            sketch.area(tapered(between(path, base, tip), [5.5, 3, 0.3]), THIN, INK)
    sketch.area(mirrored("oval", base, tip, "prickly", ratio, **more), BOLD, PALE)
    sketch.line([base, (base[0] + 0.86 * (tip[0] - base[0]), base[1] + 0.86 * (tip[1] - base[1]))], THIN)


def parsley(sketch: Sketch, base: Place, tip: Place, wide: float = 0.9, weight: float = BOLD, pairs: int = 4) -> None:
    """A leaf cut again and again, as its ribs."""
    strokes = [np.array([[0.0, 0], [1, 0]])]
    for k in range(pairs):
        x = 0.1 + 0.8 * k / pairs
        long = wide * 0.5 * math.sin(math.pi * (0.3 + 0.58 * k / pairs))
        for side in (-1, 1):
            turn = side * 0.95
            strokes.append(np.array([[x, 0], on((x, 0), turn, long)]))
            for part, share in ((0.45, 0.42), (0.72, 0.3)):
                foot = on((x, 0), turn, long * part)
                strokes += [np.array([foot, on(foot, turn + way * 0.75, long * share)]) for way in (-1, 1)]
    foot = (0.86, 0.0)
    strokes += [np.array([foot, on(foot, way * 0.6, 0.13)]) for way in (-1, 1)]
    sketch.lines((between(s, base, tip) for s in strokes), weight)


def grass_blade(path: Points, width: float) -> Points:
    """A long narrow blade along a path."""
    return tapered(path, [width, width, width * 0.95, width * 0.8, width * 0.5, 0.3])


def stem(sketch: Sketch, points: Any, width: float = 4.0, weight: float = THIN, fill: str | None = None) -> Points:
    """A stem along soft curve; returns its middle line."""
    path = smooth(points)
    sketch.area(tube(path, width, width * 0.85), weight, fill)
    return path
