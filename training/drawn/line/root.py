"""What is under the ground, and whether lying stems root."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import partial

import numpy as np

from training.drawn.line.blade import leaf
from training.drawn.line.canvas import BOLD, FINE, PALE, THIN, Points, Sketch
from training.drawn.line.shape import along, oval, smooth, tapered, tube
from training.drawn.line.sign import ground

Draw = Callable[[Sketch], None]
SOIL = 32.0


def _tops(grassy: bool, sketch: Sketch) -> None:
    """A small plant above the soil."""
    for lean in (-24, 24, -11, 11):
        if grassy:
            path = smooth([[50, SOIL], [50 + lean * 0.5, 16], [50 + lean * 1.1, 6 + abs(lean) * 0.35]])
            sketch.area(tapered(path, [3.4, 3.8, 3, 0.3]), THIN)
        else:
            leaf(sketch, (50, SOIL), (50 + lean * 1.25, 5 + abs(lean) * 0.5), "spoon", ratio=0.34, rib=FINE)


def _hair_roots(x: float, y: float, far: float, number: int = 5, wide: float = 1.1) -> list[Points]:
    """Thin roots that hang from a place."""
    leans = np.linspace(-wide, wide, number)
    return [
        smooth(
            [
                [x, y],
                [x + far * 0.45 * math.sin(a) + 1, y + far * 0.5 * math.cos(a)],
                [x + far * math.sin(a * 0.9), y + far * math.cos(a * 0.8)],
            ]
        )
        for a in leans.tolist()
    ]


def _taproot(sketch: Sketch) -> None:
    for y, side, far in ((46, 1, 16), (54, -1, 17), (64, 1, 13), (72, -1, 11)):
        sketch.line(smooth([[50, y], [50 + side * far * 0.6, y + 3], [50 + side * far, y + 8]]), THIN)
    sketch.area(tapered(smooth([[50, SOIL - 1], [49, 55], [51, 78], [49, 98]]), [13, 11, 7, 4, 1.2]), BOLD, PALE)


def _fibrous(sketch: Sketch) -> None:
    sketch.lines(_hair_roots(50, SOIL, 60, 11, 0.95), 2.1)


def _bulb(sketch: Sketch, x: float, y: float, size: float, weight: float = BOLD) -> None:
    shape = [
        [0, -1.5],
        [0.16, -1.05],
        [0.8, -0.45],
        [1, 0.25],
        [0.55, 0.9],
        [0, 1.02],
        [-0.55, 0.9],
        [-1, 0.25],
        [-0.8, -0.45],
        [-0.16, -1.05],
    ]
    sketch.area(smooth([[x + size * u, y + size * v] for u, v in shape], closed=True, each=4), weight, PALE)


def _one_bulb(sketch: Sketch) -> None:
    sketch.lines(_hair_roots(50, 80, 18, 7), THIN)
    _bulb(sketch, 50, 62, 20)
    sketch.lines((smooth([[50, 36], [50 + w, 60], [50 + w * 0.6, 80]]) for w in (-9, 9)), FINE)


def _bulblets(sketch: Sketch) -> None:
    sketch.lines(_hair_roots(50, 76, 22, 7), THIN)
    _bulb(sketch, 50, 60, 15)
    for k, (x, y) in enumerate(
        ((29, 62), (71, 62), (34, 76), (66, 76), (50, 84), (24, 77), (76, 77), (40, 88), (60, 88))
    ):
        _bulb(sketch, x, y, 5.6 - 0.2 * (k % 2), 2.2)


def _tuber_single(sketch: Sketch) -> None:
    for x, y in ((16, 66), (36, 86), (64, 86), (84, 66)):
        sketch.line(smooth([[50, SOIL], [50 + (x - 50) * 0.45, SOIL + (y - SOIL) * 0.35], [x, y]]), THIN)
        sketch.area(oval(x, y + 5, 7.5, 9), BOLD, PALE)


def _tuber_chain(sketch: Sketch) -> None:
    for path in (
        smooth([[50, SOIL], [38, 52], [24, 70], [12, 92]]),
        smooth([[50, SOIL], [62, 52], [76, 70], [88, 92]]),
    ):
        sketch.line(path, THIN)
        for t in (0.4, 0.68, 0.95):
            x, y = path[int(t * (len(path) - 1))]
            sketch.area(oval(x, y, 6, 8, 0.6 if x < 50 else -0.6), BOLD, PALE)


def _rhizome(sketch: Sketch) -> None:
    path = smooth([[4, 58], [26, 54], [50, 57], [74, 53], [97, 57]])
    for x in (20, 50, 80):
        sketch.area(tube([[x, 56], [x, SOIL]], 4), THIN)
        sketch.lines(_hair_roots(x, 58, 20, 4, 0.8), THIN)
    sketch.area(tube(path, 8.5, 6), BOLD, PALE)
    sketch.lines(([[x, 51.5], [x, 60]] for x in (11, 30, 40, 60, 70, 90)), THIN)
    sketch.area([[93, 52.5], [100, 57], [93, 61]], BOLD, PALE)


def _woody(sketch: Sketch) -> None:
    """A thick stock of wood, cut across above the soil so that its rings are seen; thin stems beside the cut."""
    for x, lean in ((25, -9), (75, 9)):
        path = smooth([[x, 36], [x + lean, 20], [x + 1.4 * lean, 5]])
        sketch.area(tube(path, 3.6, 2.6), THIN)
        for t, side in ((0.5, 1), (0.75, -1), (1.0, 1)):
            at, _ = along(path, t)
            leaf(sketch, at, (at[0] + side * 9, at[1] - 4), "oval", ratio=0.5, rib=0)
    for root, width in (
        ([[32, 50], [18, 60], [8, 82]], 9),
        ([[42, 58], [36, 76], [38, 98]], 10),
        ([[60, 58], [66, 78], [60, 96]], 9),
        ([[70, 50], [82, 62], [94, 78]], 9),
    ):
        sketch.area(tapered(smooth(root), [width, width * 0.6, 1]), THIN)
    stock = [
        [34, 18],
        [33, 30],
        [24, 38],
        [22, 50],
        [34, 60],
        [50, 63],
        [66, 60],
        [78, 50],
        [76, 38],
        [67, 30],
        [66, 18],
    ]
    sketch.area(smooth(stock), BOLD, PALE)
    for x, top, far in ((30, 40, 14), (39, 30, 24), (48, 34, 20), (56, 30, 26), (64, 36, 18), (71, 42, 9)):
        bark = [[x, top], [x + 2, top + far * 0.3], [x - 1.5, top + far * 0.7], [x + 1, top + far]]
        sketch.line(smooth(bark), THIN)
    sketch.area(oval(50, 18, 16.5, 8), BOLD)
    for size in (0.66, 0.34):
        sketch.area(oval(50, 18, 16.5 * size, 8 * size), THIN, hides=False)


def _under(below: Draw, tops: Draw | None, sketch: Sketch) -> None:
    ground(sketch, SOIL)
    if tops:
        tops(sketch)
    below(sketch)


def _shoots(sketch: Sketch) -> None:
    """Three small shoots in a row."""
    for x in (20, 50, 80):
        for lean in (-10, 10, 0):
            path = smooth([[x, SOIL], [x + lean * 0.4, 20], [x + lean, 8 + abs(lean) * 0.3]])
            sketch.area(tapered(path, [2.6, 3, 2.4, 0.3]), THIN)


def _rooting(roots: bool, sketch: Sketch) -> None:
    """A lying stem with leaves at its joints; it roots at each, or only at its start."""
    line = 58.0
    ground(sketch, line)
    for k, x in enumerate((14, 38, 62, 86)):
        for side in (-1, 1):
            leaf(sketch, (x, line - 6), (x + side * 8 + 2, 28 + 3 * (k % 2)), "oval", ratio=0.48, rib=FINE)
        if roots or k == 0:
            sketch.lines(_hair_roots(x, line - 4, 34, 3, 0.34), BOLD if roots else THIN)
    path = smooth([[8, line - 4], [38, line - 6], [62, line - 6], [94, line - 6]])
    sketch.area(tube(path, 5, 4), THIN if roots else BOLD, None if roots else PALE)
    if roots:
        for x in (14, 38, 62, 86):
            sketch.area(oval(x, line - 6, 4.2), BOLD, PALE)


_BROAD, _GRASSY = partial(_tops, False), partial(_tops, True)
UNDER: Mapping[str, tuple[Draw, Draw | None]] = {
    "taproot": (_taproot, _BROAD),
    "fibrous": (_fibrous, _GRASSY),
    "bulb": (_one_bulb, _GRASSY),
    "bulb_with_bulblets": (_bulblets, _GRASSY),
    "tuber_single": (_tuber_single, _GRASSY),
    "tuber_chain": (_tuber_chain, _GRASSY),
    "rhizome": (_rhizome, _shoots),
    "woody_base": (_woody, None),
}
FIGURES: Mapping[str, Mapping[str, Draw]] = {
    "underground": {kind: partial(_under, *how) for kind, how in UNDER.items()},
    "stem_rooting": {"present": partial(_rooting, True), "absent": partial(_rooting, False)},
}
