"""Where leaf and stem meet: ears, stipules, ligules; young grass shoots and the tips of blades."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import partial

import numpy as np

from training.drawn.line.blade import leaf
from training.drawn.line.canvas import BOLD, FINE, PALE, THIN, Sketch
from training.drawn.line.shape import bow, box, oval, smooth, tube

Draw = Callable[[Sketch], None]


def _ears(kind: str, sketch: Sketch) -> None:
    """A leaf that reaches the stem from the right; its ears, if any, pass the stem on both sides."""
    behind = {
        "pointed": [[44, 52], [34, 40], [19, 27], [30, 45], [42, 60]],
        "rounded": [[42, 54], [38, 38], [26, 30], [15, 38], [19, 51], [34, 58], [44, 58]],
    }.get(kind)
    if behind:
        sketch.area(smooth(behind, closed=True), BOLD, PALE)
    sketch.area(tube(smooth([[38, 99], [40, 60], [39, 2]]), 9, 7), THIN)
    front = {
        "pointed": [[98, 27], [84, 20], [62, 30], [46, 47], [36, 58], [16, 84], [44, 72], [58, 70], [82, 52]],
        "rounded": [
            [98, 27],
            [84, 20],
            [62, 30],
            [46, 46],
            [32, 53],
            [18, 62],
            [16, 76],
            [26, 86],
            [42, 82],
            [54, 72],
            [82, 52],
        ],
        "none": [[98, 27], [84, 20], [64, 32], [52, 46], [43.5, 57], [43.5, 64], [56, 63], [82, 50]],
    }[kind]
    sketch.area(smooth(front, closed=True), BOLD, PALE)
    sketch.line(smooth([[44, 61], [62, 48], [92, 29]]), THIN)


def _leaf_joint(sketch: Sketch) -> None:
    """A stem with one stalked leaf at its joint, at (38, 62)."""
    sketch.area(tube(smooth([[36, 99], [38, 60], [37, 2]]), 9, 8), THIN)
    sketch.area(tube(smooth([[41, 64], [52, 56], [62, 42]]), 5, 4), THIN)
    leaf(sketch, (62, 42), (94, 4), "oval", ratio=0.6)


def _no_stipules(sketch: Sketch) -> None:
    _leaf_joint(sketch)
    sketch.area(oval(42, 62, 17), BOLD, hides=False)


def _stipules(cut: bool, sketch: Sketch) -> None:
    _leaf_joint(sketch)
    for way in (-1, 1):
        if cut:
            tips = [[-4, -34], [3, -24], [8, -33], [10, -21], [17, -27], [15, -15], [23, -17], [17, -8], [22, -3]]
            shape = [[0, 4], *([[-2, -10]]), *tips, [10, 4]]
        else:
            shape = smooth([[0, 4], [0, -14], [10, -32], [20, -16], [16, 0], [8, 5]]).tolist()
        foot = 42 if way > 0 else 35
        sketch.area([[foot + way * x, 66 + y * (0.9 if way > 0 else 1)] for x, y in shape], BOLD, PALE)


def _sheath(sketch: Sketch) -> None:
    _leaf_joint(sketch)
    rim = [[29, 40], [32, 35], [35, 41], [38, 34], [42, 41], [45, 36], [48, 41]]
    sketch.area([[31, 70], *rim, [46, 70]], BOLD, PALE)
    sketch.lines(([[33 + 3.5 * k, 67], [32.5 + 3.8 * k, 45]] for k in range(4)), FINE)
    sketch.area(tube(smooth([[46, 64], [56, 54], [62, 42]]), 4.5, 4), THIN)


def _grass_collar(sketch: Sketch) -> None:
    """Sheath, culm and a blade bent away: the angle is at (40 to 60, 58)."""
    sketch.area(tube([[49, 60], [49, 2]], 12), THIN)
    blade = [[58, 54], [70, 57], [84, 66], [99, 82], [99, 99], [92, 97], [78, 84], [62, 72], [40, 68]]
    sketch.area(smooth(blade, closed=True), THIN)
    sketch.line(smooth([[52, 62], [72, 69], [95, 91]]), FINE)
    sheath = [[38, 99], [38, 70], [40, 58], [60, 54], [62, 68], [62, 99]]
    sketch.area(sheath, THIN)
    sketch.lines(([[38 + x, 99], [38 + x, 68 - x / 5]] for x in (5, 11, 17)), FINE)


def _ligule(kind: str, sketch: Sketch) -> None:
    _grass_collar(sketch)
    if kind == "membrane":
        skin = [
            [38.5, 60],
            [37.5, 44],
            [41, 37],
            [44, 33],
            [47, 35],
            [50, 30],
            [53, 34],
            [57, 32],
            [60, 40],
            [61.5, 55],
        ]
        sketch.area(smooth([*skin, [50, 60]], closed=True, each=5), BOLD, PALE)
        sketch.lines(([[42 + 5 * k, 56 - k / 2], [42.5 + 5 * k, 42 - k / 2]] for k in range(4)), FINE)
    elif kind == "hairs":
        for k in range(9):
            x = 39 + k * 2.75
            lean = (k - 4) * 1.4
            sketch.line(smooth([[x, 60 - k * 0.6], [x + lean * 0.4, 46], [x + lean, 32 + abs(k - 4) * 1.2]]), 2)
    else:
        sketch.line([[38.5, 59.5], [50, 58], [61, 54.5]], BOLD)


def _folded(sketch: Sketch) -> None:
    sketch.area([[20, 50], [24, 99], [76, 99], [80, 50]], THIN)
    for inset, weight in ((0, BOLD), (7.5, BOLD), (14, BOLD)):
        half, high = 34 - inset * 1.4, 15 - inset * 0.86
        hairpin = [
            [50 + half, 46 - high],
            [50 - half * 0.4, 46 - high],
            [50 - half * 0.88, 46 - high * 0.75],
            [50 - half, 46],
        ]
        whole = smooth([*hairpin, *[[x, 92 - y] for x, y in hairpin[-2::-1]]])
        if inset == 0:
            sketch.area(whole, BOLD, PALE)
        sketch.line(whole, weight)
    sketch.line([[24, 74], [25.5, 99]], FINE)


def _rolled(sketch: Sketch) -> None:
    sketch.area([[20, 40], [24, 99], [76, 99], [80, 40]], THIN)
    sketch.area(oval(50, 38, 30, 30), BOLD, PALE)
    turn = np.linspace(0.6, 0.6 + 2 * math.pi * 2.6, 80)
    out = np.linspace(30, 4, 80)
    sketch.line(np.stack([50 + out * np.cos(turn), 38 + out * np.sin(turn)], axis=1), BOLD)
    sketch.lines(([[24, 70], [26, 99]], [[76, 70], [74, 99]]), FINE)


def _tapering(sketch: Sketch) -> None:
    sketch.area(smooth([[36, 99], [38, 78], [43, 48], [50, 2], [57, 48], [62, 78], [64, 99]]), BOLD, PALE)
    sketch.line([[50, 99], [50, 20]], THIN)


def _abrupt(sketch: Sketch) -> None:
    sketch.area(
        smooth([[36, 99], [35, 60], [36, 34], [42, 20], [50, 12], [58, 20], [64, 34], [65, 60], [64, 99]]), BOLD, PALE
    )
    sketch.line([[50, 99], [50, 22]], THIN)


def _boat(sketch: Sketch) -> None:
    """The blade from the side and above: two halves that close to a prow."""
    far = smooth([[2, 60], [34, 42], [66, 24], [91, 16]])
    near = smooth([[2, 74], [36, 60], [68, 42], [91, 16]])
    keel = smooth([[10, 99], [44, 84], [74, 66], [90, 44], [92, 16]])
    sketch.area(np.concatenate([far, near[::-1]]), BOLD)
    sketch.area(np.concatenate([near, keel[::-1], [[2, 99]]]), BOLD, PALE)
    sketch.line(smooth([[2, 66], [36, 51], [68, 32], [88, 18]]), FINE)


def _bract_leaf(sketch: Sketch, side: int, stalk: float, y: float) -> None:
    base = (50 + side * (3 + stalk), y - stalk * 0.35)
    leaf(sketch, base, (base[0] + side * 27, base[1] - 7), "round_kidney", "toothed", BOLD, PALE, 1.1, rib=0, teeth=9)
    if stalk:
        sketch.line([[50 + side * 2, y], (base[0] + side * 6.5, base[1] - 1.7)], 3.4)


def _bract(stalked: bool, sketch: Sketch) -> None:
    """The top of a stem with a ring of lipped flowers over a pair of leaves."""
    sketch.area(tube([[50, 99], [50, 34]], 5), THIN)
    for turn in (-0.55, 0.0, 0.55):
        foot = np.array([50 + 5 * turn, 58])
        top = foot + np.array([math.sin(turn) * 44, -math.cos(turn) * 44])
        sketch.area(tube([foot, top], 3.4, 6), THIN)
        sketch.area(oval(float(top[0]), float(top[1]) - 4, 6.5, 5), THIN)
    for side in (-1, 1):
        _bract_leaf(sketch, side, 17 if stalked else 0, 60 if stalked else 62)
    sketch.area(box(47.5, 57, 52.5, 99), THIN)
    if not stalked:
        sketch.line(bow(50, 60, 6, 4, 0.1, 3.04), BOLD)


FIGURES: Mapping[str, Mapping[str, Draw]] = {
    "leaf_base_ears": {kind: partial(_ears, kind) for kind in ("none", "pointed", "rounded")},
    "leaf_tip": {"tapering": _tapering, "abrupt": _abrupt, "boat": _boat},
    "stipules": {
        "absent": _no_stipules,
        "entire": partial(_stipules, False),
        "cut": partial(_stipules, True),
        "sheath": _sheath,
    },
    "ligule": {kind: partial(_ligule, kind) for kind in ("membrane", "hairs", "absent")},
    "leaf_bud": {"folded": _folded, "rolled": _rolled},
    "bract_stalk": {"stalked": partial(_bract, True), "stalkless": partial(_bract, False)},
}
