"""Heads of grasses and sedges, and their spikelets."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import cache, partial

import numpy as np

from training.drawn.line.canvas import BOLD, FINE, PALE, THIN, Points, Sketch
from training.drawn.line.shape import Place, along, between, on, oval, ray, smooth, tapered

Draw = Callable[[Sketch], None]
UP = -math.pi / 2


@cache
def _unit_scale(wide: float) -> Points:
    side = np.array([[0, 0.03], [0.3, wide], [0.7, wide * 0.72], [1, 0]])
    return smooth(np.concatenate([side, (side * [1, -1])[-2::-1]]), each=3)


def scale(base: Place, turn: float, long: float, wide: float) -> Points:
    """One pointed scale, as a spikelet's."""
    return between(_unit_scale(wide), base, on(base, turn, long))


def spikelet(sketch: Sketch, base: Place, turn: float, long: float, florets: int, weight: float = THIN) -> None:
    """A flat spikelet: scales that overlap in two rows, the lowest in front."""
    if florets == 1:
        sketch.area(scale(base, turn, long, 0.2), weight, PALE)
        return
    for k in range(florets, -1, -1):
        start = on(base, turn, long * 0.62 * k / florets)
        lean = 0.0 if k == florets else (0.26 if k % 2 else -0.26)
        sketch.area(scale(start, turn + lean, long * 0.44, 0.24), weight, PALE)


def row(
    sketch: Sketch,
    path: Points,
    number: int,
    long: float,
    weight: float = BOLD,
    sides: tuple[int, ...] = (-1, 1),
    start: float = 0.08,
) -> None:
    """Spikelets along a branch, on one side or on both."""
    sketch.line(path, weight)
    for k in range(number):
        at, way = along(path, start + (1 - start) * (k + 0.4) / number)
        for side in sides:
            sketch.area(scale(at, way + side * 0.5, long, 0.26), THIN, PALE)


def culm(sketch: Sketch, top: float = 40, bottom: float = 104) -> None:
    """The stalk of a head."""
    sketch.line([[50, bottom], [50, top]], THIN)


def _fingers(sketch: Sketch) -> None:
    culm(sketch, 56)
    for lean, long in ((-1.25, 46), (-0.62, 52), (0.0, 52), (0.62, 52), (1.25, 46)):
        end = on((50, 56), UP + lean, long)
        mid = on((50, 56), UP + lean * 0.8, long * 0.5)
        row(sketch, smooth([[50, 56], mid, end], each=4), 6, 8.5, start=0.04)


def _along(sketch: Sketch) -> None:
    culm(sketch, 8)
    for y, side in ((74, -1), (56, 1), (38, -1), (22, 1)):
        path = smooth([[50, y], [50 + side * 20, y - 10], [50 + side * 42, y + 2]])
        row(sketch, path, 7, 9, BOLD, (side,))


def _panicle(sketch: Sketch) -> None:
    sketch.line([[50, 104], [50, 6]], THIN)
    for k, y in enumerate((72, 58, 44, 30)):
        far = 42 - 8 * k
        for side in (-1, 1):
            path = smooth([[50, y], [50 + side * far * 0.5, y - 10], [50 + side * far, y - 12 + far * 0.12]])
            sketch.line(path, BOLD)
            for t, up in ((0.55, -1), (0.78, 1), (1.0, 0)):
                at, way = along(path, t)
                end = on(at, way + up * 0.8 * side, 5 if up else 0.1)
                sketch.line([at, end], THIN)
                sketch.area(scale(end, way + up * 0.5 * side, 7.5, 0.28), THIN, PALE)
    sketch.area(scale((50, 12), UP, 10, 0.26), BOLD, PALE)


def _hidden(sketch: Sketch) -> None:
    """Only threads with pollen bags stand out of the top sheath."""
    for lean in (-0.42, -0.15, 0.12, 0.38):
        end = on((50, 46), UP + lean, 36)
        sketch.line(smooth([[50, 46], on((50, 46), UP + lean * 0.6, 20), end]), BOLD)
        sketch.area(oval(*end, 2.2, 5.4, lean), BOLD, PALE)
    for side in (-1, 1):
        sketch.area(
            tapered(smooth([[50 + side * 4, 60], [50 + side * 22, 40], [50 + side * 44, 42]]), [9, 9, 7, 0.4]), THIN
        )
    sketch.area(smooth([[43, 104], [42, 76], [44, 54], [50, 44], [56, 54], [58, 76], [57, 104]]), BOLD, PALE)
    sketch.line(smooth([[50, 46], [53, 70], [51, 104]]), THIN)


def _bracts(sketch: Sketch, y: float, far: float = 44) -> None:
    for side, rise in ((-1, 0.35), (1, 0.2)):
        sketch.area(
            tapered(
                smooth([[50, y], [50 + side * far * 0.5, y - 6 - 10 * rise], [50 + side * far, y + 6 - 16 * rise]]),
                [5, 5, 4, 0.4],
            ),
            THIN,
        )


def ball(sketch: Sketch, x: float, y: float, radius: float, weight: float = BOLD) -> None:
    """A dense round head of scales."""
    for k in range(18):
        turn = 2 * math.pi * k / 18
        sketch.area(scale(on((x, y), turn, radius * 0.6), turn, radius * 0.55, 0.3), weight, PALE)
    sketch.area(oval(x, y, radius * 0.84), 0, PALE)
    for far, number in ((0.62, 9), (0.26, 4)):
        for k in range(number):
            at = on((x, y), 2 * math.pi * k / number + far * 3, radius * far)
            sketch.line(
                smooth([[at[0] - radius * 0.15, at[1] + 2], [at[0], at[1] - 2.4], [at[0] + radius * 0.15, at[1] + 2]]),
                THIN,
            )


def _ball(sketch: Sketch) -> None:
    culm(sketch, 52)
    _bracts(sketch, 54)
    ball(sketch, 50, 34, 23)


def _cluster(sketch: Sketch, at: Place, turn: float, long: float, weight: float) -> None:
    """Flat spikelets that spread from the end of a ray."""
    for lean in (-1.0, 1.0, -0.5, 0.5, 0.0):
        spot = on(at, turn + lean, long)
        sketch.area(scale(at, turn + lean, math.dist(at, spot), 0.15), weight, PALE)


def sedge_head(sketch: Sketch) -> None:
    """Clusters of flat spikelets on rays of unequal length, over leafy bracts."""
    culm(sketch, 62)
    _bracts(sketch, 62, 48)
    for lean, long in ((-0.95, 34), (0.95, 34), (-0.42, 42), (0.42, 42), (0.0, 20)):
        end = on((50, 62), UP + lean, long)
        sketch.line([[50, 62], end], THIN)
        _cluster(sketch, end, UP + lean, 15, 1.8)


def _rays(sketch: Sketch) -> None:
    culm(sketch, 66)
    _bracts(sketch, 66, 46)
    for lean, long in ((-1.05, 40), (1.05, 40), (-0.5, 48), (0.5, 48), (0.0, 52)):
        end = on((50, 66), UP + lean, long * 0.72)
        sketch.line([[50, 66], end], BOLD)
        _cluster(sketch, end, UP + lean, 14, THIN)


def _single(sketch: Sketch) -> None:
    culm(sketch, 66)
    for k in range(9, -1, -1):
        y = 70 - 6.4 * k
        for side in (-1, 1):
            sketch.area(scale((50, y), UP + side * 0.42, 13, 0.26), 2.0, PALE)
    sketch.area(scale((50, 14), UP, 12, 0.26), 2.0, PALE)


def spiny(sketch: Sketch, x: float, y: float, radius: float, spikes: int, far: float, weight: float = THIN) -> None:
    """A small burr."""
    sketch.lines((ray((x, y), 2 * math.pi * (k + 0.3) / spikes, radius, radius + far) for k in range(spikes)), weight)
    sketch.area(oval(x, y, radius), weight, PALE)


def _burrs(sketch: Sketch) -> None:
    culm(sketch, 14)
    for k, y in enumerate((72, 58, 44, 30, 16)):
        spiny(sketch, 50 + (7 if k % 2 else -7), y, 8, 14, 7.5, 2.0)


def _silky(silky: bool, sketch: Sketch) -> None:
    sketch.line([[50, 104], [50, 82]], THIN)
    if silky:
        for k in range(13):
            for side in (-1, 1):
                y = 80 - 4.6 * k
                sketch.line(
                    smooth([[50 + side * 6, y], [50 + side * 24, y - 9], [50 + side * (38 - 0.4 * k), y - 26]]), 1.7
                )
    sketch.area(scale((50, 84), UP, 76, 0.19), THIN if silky else BOLD, PALE)
    sketch.line(smooth([[50, 82], [45, 50], [50, 12]]), FINE)


def _awns(kind: str, sketch: Sketch) -> None:
    """One spikelet: its scales, and the bristle at the tip."""
    size, bare = (50.0 if kind == "long" else 60.0), kind == "none"
    sketch.line([[50, 104], [50, 94]], THIN)
    top = 96 - size
    for lean in (-0.34, 0.34):
        sketch.area(scale((50, 96), UP + lean, size * 0.7, 0.19), THIN)
    sketch.area(scale((50, 96), UP, size, 0.2), BOLD if bare else THIN, PALE)
    far = {"none": 0.0, "short": 20.0, "long": 72.0}[kind]
    if kind == "short":
        sketch.line([[50, top + 2], [51, top - far]], 3.4)
    elif kind == "long":
        sketch.line(smooth([[50, top + 2], [49, top - 22], [55, top - 44]]), 3.4)


def _florets(several: bool, sketch: Sketch) -> None:
    sketch.line([[50, 104], [50, 92]], THIN)
    if several:
        spikelet(sketch, (50, 94), UP, 88, 6, BOLD)
        return
    for lean in (-0.34, 0.34):
        sketch.area(scale((50, 94), UP + lean, 62, 0.17), THIN)
    sketch.area(scale((50, 90), UP, 80, 0.21), BOLD, PALE)
    sketch.line(smooth([[50, 88], [46, 56], [50, 20]]), FINE)


def _head_bracts(kind: str, sketch: Sketch) -> None:
    """Leaves right under a sedge head."""
    culm(sketch, 58)
    for lean, long in ((-0.62, 24), (0.62, 24), (-0.25, 32), (0.25, 32)):
        end = on((50, 58), UP + lean, long * 0.7)
        sketch.line([[50, 58], end], THIN)
        _cluster(sketch, end, UP + lean, 13, THIN)
    if kind == "none":
        sketch.area(oval(50, 60, 8), BOLD, hides=False)
        return
    paths = {
        "longer": ([[50, 58], [26, 40], [10, 6]], [[50, 58], [76, 44], [93, 8]], [[50, 58], [74, 68], [92, 92]]),
        "shorter": ([[50, 58], [39, 54], [28, 57]], [[50, 58], [61, 54], [72, 57]], [[50, 58], [58, 64], [62, 73]]),
    }[kind]
    for path in paths:
        sketch.area(tapered(smooth(path), [4.4, 6.5, 5.5, 0.4] if kind == "longer" else [4, 5, 4, 0.4]), BOLD, PALE)


FIGURES: Mapping[str, Mapping[str, Draw]] = {
    "grass_head": {
        "fingers": _fingers,
        "racemes_along": _along,
        "open_panicle": _panicle,
        "hidden": _hidden,
        "ball": _ball,
        "rays": _rays,
        "single_spike": _single,
        "burrs": _burrs,
    },
    "spikelet_hairs": {"none": partial(_silky, False), "silky": partial(_silky, True)},
    "awns": {kind: partial(_awns, kind) for kind in ("none", "short", "long")},
    "spikelet_florets": {"one": partial(_florets, False), "several": partial(_florets, True)},
    "head_bracts": {kind: partial(_head_bracts, kind) for kind in ("longer", "shorter", "none")},
}
