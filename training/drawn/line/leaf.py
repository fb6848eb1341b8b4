"""Leaves: build, arrangement, outline, edge, mark, underside, middle leaflet."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import partial

import numpy as np

from training.drawn.leaf import RATIO, LeafForm, leaf_shape
from training.drawn.line.blade import blade, feathered, grass_blade, leaf, mirrored, parsley, prickly, stem, three
from training.drawn.line.canvas import BOLD, FINE, PALE, THIN, Sketch
from training.drawn.line.shape import along, between, on, oval, smooth, tapered, tube
from training.drawn.line.sign import ground

Draw = Callable[[Sketch], None]


def _on_stem(sketch: Sketch) -> None:
    """A piece of stem at the left that a leaf springs from, at (20, 74)."""
    stem(sketch, [[15, 99], [18, 76], [16, 52], [19, 40]], 5)


def _grassy(sketch: Sketch) -> None:
    low = smooth([[20, 78], [12, 56], [4, 42]])
    sketch.area(grass_blade(low, 6), THIN)
    sketch.area(tube(smooth([[22, 104], [23, 82], [26, 62]]), 9, 8), THIN)
    path = smooth([[26, 66], [37, 40], [58, 19], [97, 8]], each=12)
    sketch.area(grass_blade(path, 9), BOLD, PALE)
    for part in (-0.24, 0.0, 0.24):
        places = (along(path, t) for t in np.linspace(0.03, 0.78, 14).tolist())
        rows = [on(at, turn + math.pi / 2, part * 8.5 * (1 - 0.4 * k / 13)) for k, (at, turn) in enumerate(places)]
        sketch.line(rows, FINE)


def _strap(sketch: Sketch) -> None:
    ground(sketch, 90)
    left = smooth([[44, 90], [38, 60], [26, 34], [12, 26]], each=10)
    sketch.area(tapered(left, [9, 13, 14, 13, 9, 1]), BOLD, PALE)
    sketch.line(left[2:-4], THIN)
    right = smooth([[56, 90], [60, 60], [70, 24]], each=10)
    sketch.area(tube(right, 11, 13), BOLD, PALE)
    sketch.area(oval(70, 24, 6.6, 3.6, 0.28), BOLD)
    middle = smooth([[50, 90], [50, 50], [46, 12]], each=8)
    sketch.area(tapered(middle, [9, 12, 12, 10, 1]), BOLD, PALE)
    sketch.line(middle[1:-3], THIN)


def _simple(sketch: Sketch) -> None:
    _on_stem(sketch)
    leaf(sketch, (40, 61), (93, 22), "oval", "smooth", BOLD, PALE, veins=4)
    sketch.line(smooth([[19, 74], [30, 69], [40, 61]]), BOLD)


def _three_leaflets(sketch: Sketch) -> None:
    _on_stem(sketch)
    sketch.line(smooth([[19, 74], [36, 68], [54, 55]]), BOLD)
    three(sketch, (54, 55), -0.75, 37, "oval", BOLD, PALE)


def _feather(sketch: Sketch) -> None:
    _on_stem(sketch)
    feathered(sketch, smooth([[19, 74], [44, 60], [80, 24]]), 4, 19, 2.6, PALE)


def _finely_cut(sketch: Sketch) -> None:
    _on_stem(sketch)
    sketch.line(smooth([[19, 74], [30, 68], [40, 59]]), BOLD)
    parsley(sketch, (36, 62), (84, 16), 1.05)


def _basal(sketch: Sketch) -> None:
    ground(sketch, 90)
    sketch.area(tube(smooth([[50, 88], [51, 60], [50, 24]]), 3.4), THIN)
    sketch.area(oval(50, 17, 9, 8), THIN)
    for x, y, wide in ((6, 76, 0.26), (94, 76, 0.26), (18, 52, 0.28), (82, 52, 0.28), (35, 42, 0.28), (66, 42, 0.28)):
        leaf(sketch, (50, 89), (x, y), "spoon", weight=BOLD, fill=PALE, ratio=wide)


def _up_stem(sketch: Sketch) -> None:
    sketch.area(tube(smooth([[50, 99], [50, 50], [50, 5]]), 4.5, 3.5), THIN)


def _alternate(sketch: Sketch) -> None:
    _up_stem(sketch)
    for k, y in enumerate((92, 75, 58, 41, 24)):
        side = 1 if k % 2 else -1
        sketch.line([[50 + 2 * side, y], [50 + 9 * side, y - 3]], BOLD)
        leaf(sketch, (50 + 9 * side, y - 3), (50 + 43 * side, y - 12), "oval", "smooth", BOLD, PALE, 0.48)


def _opposite(sketch: Sketch) -> None:
    _up_stem(sketch)
    for y in (86, 54, 22):
        for side in (-1, 1):
            sketch.line([[50 + 2 * side, y], [50 + 9 * side, y - 3]], BOLD)
            leaf(sketch, (50 + 9 * side, y - 3), (50 + 43 * side, y - 12), "oval", "smooth", BOLD, PALE, 0.5)


def _whorled(sketch: Sketch) -> None:
    for bottom, top in ((99, 70), (70, 28), (28, 4)):
        sketch.area(tube([[50, bottom], [50, top]], 4.5), THIN)
        if top == 4:
            break
        for turn, long in ((-1.0, 26), (-2.14, 26), (-0.12, 42), (-3.02, 42), (0.75, 32), (2.39, 32)):
            base, tip = on((50, top), turn, 2), on((50, top), turn, long)
            leaf(sketch, base, tip, "lance", "smooth", BOLD, PALE, 11 / long, rib=0)


def _outline(kind: str, sketch: Sketch) -> None:
    """One blade or leaflet, upright, on its stalk."""
    base, tip, ratio = {
        "linear": ((50, 90), (50, 3), 0.13),
        "lance": ((50, 86), (50, 4), 0.3),
        "spoon": ((50, 88), (50, 6), 0.5),
        "oval": ((50, 84), (50, 8), 0.68),
        "round_kidney": ((50, 80), (50, 12), 1.2),
        "heart": ((50, 86), (50, 12), 1.1),
        "fishtail": ((50, 80), (50, 26), 1.6),
        "triangular": ((50, 78), (50, 8), 0.86),
        "divided": ((50, 92), (50, 5), 0.95),
    }[kind]
    if kind == "divided":
        sketch.line([[50, 99], [50, 88]], THIN)
        parsley(sketch, base, tip, ratio, pairs=5)
        return
    if kind == "round_kidney":
        leaf(sketch, base, tip, kind, weight=BOLD, fill=PALE, ratio=ratio, rib=0)
        sketch.lines((between(v, base, tip) for v in leaf_shape(LeafForm(kind, ratio=ratio)).veins), FINE)
        sketch.line([[50, 99], [50, 62]], THIN)
        return
    sketch.line([[50, 99], base], THIN)
    if kind == "triangular":
        sketch.area(
            smooth(
                [[50, 8], [64, 40], [84, 78], [84, 80], [66, 76], [50, 79], [34, 76], [16, 80], [16, 78], [36, 40]],
                closed=True,
            ),
            BOLD,
            PALE,
        )
        sketch.line([[50, 79], [50, 18]], THIN)
        return
    leaf(sketch, base, tip, kind, weight=BOLD, fill=PALE, ratio=ratio)


def _edge(kind: str, sketch: Sketch) -> None:
    """The same blade with six edges."""
    base, tip = (50.0, 88.0), (50.0, 4.0)
    sketch.line([[50, 99], base], THIN)
    if kind == "wavy":
        _crisped(sketch)
    elif kind == "prickly":
        prickly(sketch, base, tip, 0.68)
    else:
        depth = 0.42 if kind == "lobed" else 0.9
        sketch.area(mirrored("oval", base, tip, kind, 0.68, teeth=11, lobe_count=4, lobe_depth=depth), BOLD, PALE)
        sketch.line([base, (50, 14)], THIN)


def _crisped(sketch: Sketch) -> None:
    """An uncut blade whose edge goes up and down: its curls are seen as folds."""
    whole = blade("oval", (50, 88), (50, 4), ratio=0.56)
    half = np.abs(whole[: len(whole) // 2, 0] - 50)
    t = np.linspace(0, 1, 120)
    reach = np.interp(t, np.linspace(0, 1, len(half)), half)
    sides, folds = [], []
    for way, start in ((1, 0.6), (-1, 1.6)):
        sides.append(np.stack([50 + way * reach * (1 + 0.2 * np.sin(2 * np.pi * 6 * t + start)), 88 - 84 * t], axis=1))
        for k in range(1, 6):
            at = (k + 0.25 - start / 6.28) / 6
            far, y = float(np.interp(at, t, reach)), 88 - 84 * at
            folds.append(
                smooth([[50 + way * far * 1.12, y], [50 + way * far * 0.8, y + 2.5], [50 + way * far * 0.55, y - 0.5]])
            )
    sketch.area(np.concatenate([sides[0], sides[1][::-1]]), BOLD, PALE)
    sketch.lines(folds, 2.0)
    sketch.line([[50, 88], [50, 14]], THIN)


FIGURES: Mapping[str, Mapping[str, Draw]] = {
    "leaf_build": {
        "grassy": _grassy,
        "strap": _strap,
        "simple": _simple,
        "three_leaflets": _three_leaflets,
        "feather": _feather,
        "finely_cut": _finely_cut,
    },
    "leaf_arrangement": {"basal": _basal, "alternate": _alternate, "opposite": _opposite, "whorled": _whorled},
    "leaf_outline": {kind: partial(_outline, kind) for kind in RATIO},
    "leaf_edge": {
        kind: partial(_edge, kind) for kind in ("smooth", "toothed", "lobed", "deep_lobed", "wavy", "prickly")
    },
}
