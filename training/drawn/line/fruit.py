"""Pods, capsules and soft fruits."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import partial

import numpy as np

from training.drawn.chance import dice
from training.drawn.flower import FlowerForm
from training.drawn.fruit import heart_pod, winged
from training.drawn.line.canvas import BOLD, FINE, INK, PALE, THIN, Sketch
from training.drawn.line.petal import one_petal
from training.drawn.line.shape import along, bow, on, oval, put, smooth, tapered, tube

Draw = Callable[[Sketch], None]
UP = -math.pi / 2


def _cup(sketch: Sketch, y: float, long: float, spread: float = 0.6, x: float = 50) -> None:
    """Green sepals at the foot of a fruit."""
    for lean in (-spread, spread, 0.0):
        sketch.area(one_petal((x, y), UP + lean, 0, long, long * 0.42, tip="point"), THIN)


def _kidneys(sketch: Sketch) -> None:
    sketch.line([[50, 104], [50, 30]], THIN)
    kidney = smooth(
        [[0, -1], [0.75, -0.8], [1, 0], [0.6, 0.85], [0, 0.9], [-0.2, 0.45], [0.15, 0.05], [-0.2, -0.35], [-0.3, -0.8]],
        closed=True,
    )
    for x, y, way in ((30, 66, -1), (70, 66, 1), (27, 42, -1), (73, 42, 1), (37, 22, -1), (63, 22, 1), (50, 44, 1)):
        sketch.line([[50, y + 10], [x, y]], THIN)
        sketch.area(put(kidney * [way, 1], (x, y), 0, 11.5), THIN, INK)


def _in_dead_flower(sketch: Sketch) -> None:
    """A withered flower that hangs; its front is cut away, so that the pod is seen."""
    sketch.line(smooth([[28, 104], [34, 50], [52, 16], [60, 18]]), THIN)
    sketch.area(smooth([[52, 18], [66, 14], [76, 22], [78, 30], [66, 32], [54, 30]], closed=True), THIN, PALE)
    husk = [
        [54, 30],
        [46, 46],
        [42, 66],
        [48, 90],
        [58, 84],
        [66, 95],
        [74, 84],
        [84, 90],
        [88, 64],
        [84, 44],
        [78, 30],
    ]
    sketch.area(smooth(husk), THIN)
    for x in (52, 78):
        sketch.line(smooth([[58 + (x - 58) * 0.5, 36], [x, 54], [x - 2, 82]]), FINE)
    sketch.area(smooth([[66, 36], [75, 46], [76, 62], [66, 76], [57, 62], [58, 46]], closed=True), BOLD, PALE)
    for y in (48, 60):
        sketch.area(oval(66.5, y, 4.2), 2.2, INK)


def _long_pod(sketch: Sketch) -> None:
    sketch.line([[14, 98], [24, 86]], BOLD)
    path = smooth([[24, 86], [46, 60], [70, 34], [90, 6]])
    sketch.area(tapered(path, [3, 8, 9, 9, 9, 8, 2]), BOLD, PALE)
    for k in range(8):
        at, _ = along(path, 0.12 + 0.1 * k)
        sketch.area(oval(*at, 2.2), FINE, INK)


def _heart_pod(sketch: Sketch) -> None:
    body, _, seam = heart_pod(FlowerForm("heart_pod", (0, 0, 0)), dice(0, "line"))
    sketch.line([[50, 104], [50, 82]], THIN)
    sketch.area(smooth(put(body.points, (50, 46), 0, 39), closed=True, each=4), BOLD, PALE)
    sketch.line(put(seam.points, (50, 46), 0, 39), THIN)


def _splits(sketch: Sketch) -> None:
    """An upright capsule whose sides come apart lengthwise."""
    sketch.line([[50, 104], [50, 84]], THIN)
    for side in (-1, 1):
        valve = [
            [50, 86],
            [50 + side * 13, 78],
            [50 + side * 22, 52],
            [50 + side * 30, 14],
            [50 + side * 17, 26],
            [50 + side * 7, 52],
        ]
        sketch.area(smooth(valve, closed=True), BOLD, PALE)
    sketch.area(smooth([[50, 84], [44, 60], [46, 34], [50, 22], [54, 34], [56, 60]], closed=True), BOLD)
    for y in (38, 50, 62, 73):
        sketch.area(oval(50, y, 2.6), THIN, INK)
    for x, y in ((40, 10), (52, 8), (60, 14)):
        sketch.area(oval(x, y, 2.4), 0, INK)


def _lidded(sketch: Sketch) -> None:
    sketch.line([[50, 104], [50, 84]], THIN)
    sketch.area(smooth([[26, 54], [28, 70], [38, 84], [62, 84], [72, 70], [74, 54]]), BOLD, PALE)
    sketch.area(oval(50, 54, 24, 7.5), BOLD)
    for x, y in ((40, 53), (50, 56), (59, 52), (46, 50), (54, 50)):
        sketch.area(oval(x, y, 2.4), 0, INK)
    lid = smooth([[26, 36], [32, 18], [50, 6], [70, 12], [78, 24]])
    sketch.area(put(np.concatenate([lid, bow(52, 31, 27, 7, -0.1, math.pi)]), (2, -2), 0.0), BOLD, PALE)


def _three_lobed(sketch: Sketch) -> None:
    """From the side: a stalk above a cup, three rounded lobes."""
    sketch.area(tube([[50, 104], [50, 76]], 4), THIN)
    capsule(sketch, BOLD)


def capsule(sketch: Sketch, weight: float, fill: str | None = PALE) -> None:
    """The three-lobed capsule of a spurge, large."""
    for x, wide in ((32, 22), (68, 22), (50, 19)):
        sketch.area(oval(x, 46, wide, 33), weight, fill)
    for lean in (-0.6, 0.0, 0.6):
        end = on((50, 14), UP + lean, 10)
        sketch.line([[50, 14], end], THIN)


def _capsule_hairs(kind: str, sketch: Sketch) -> None:
    sketch.area(tube([[50, 104], [50, 76]], 4), THIN)
    capsule(sketch, BOLD if kind == "none" else THIN, PALE if kind == "none" else None)
    ridges = [bow(50, 46, 0.6, 33, UP, -UP)]
    ridges += [
        bow(50 + s * 18, 46, 22, 33, UP + s * 0.62 if s > 0 else UP - 0.62, 1.2 if s > 0 else math.pi - 1.2)
        for s in (-1, 1)
    ]
    if kind != "none":
        for k in range(8):
            y = 22 + 7 * k
            reach = 22 * math.sqrt(max(0.05, 1 - ((y - 46) / 33) ** 2))
            for side in (-1, 1):
                x = 50 + side * (18 + reach)
                sketch.line([[x, y], [x + side * 9, y - 5]], 2.2)
            if kind == "angles":
                sketch.lines(([[50, y], [50 + side * 7, y - 5]] for side in (-1, 1)), 2.2)
        if kind == "all_over":
            for k in range(8):
                for x in (30, 39, 46, 54, 61, 70):
                    y = 21 + 7 * k + 3 * (x % 2)
                    if abs(y - 46) < 31 - abs(x - 50) * 0.25:
                        sketch.line([[x, y], [x + (x - 50) * 0.12, y - 5]], 1.8)
        else:
            sketch.line([[50, 15], [50, 78]], THIN)


def _curved(sketch: Sketch) -> None:
    """A slightly curved tube with ten small teeth, out of its sepals."""
    sketch.area(tube([[44, 104], [44, 86]], 4), THIN)
    path = smooth([[44, 88], [44, 60], [50, 36], [62, 18]])
    sketch.area(tapered(path, [20, 24, 22, 17, 15]), BOLD, PALE)
    at, way = along(path, 1.0)
    for k in range(5):
        foot = on(at, way + math.pi / 2, (k - 2) * 3.6)
        turn = way + (k - 2) * 0.22
        sketch.area(tapered([foot, on(foot, turn, 6), on(foot, turn, 12)], [3.6, 2.4, 0.4]), BOLD, PALE)
    _cup(sketch, 92, 40, 0.42, 44)


def _berry(sketch: Sketch) -> None:
    sketch.line(smooth([[50, -4], [52, 10], [50, 22]]), THIN)
    for x, y in ((30, 70), (70, 70), (50, 52)):
        sketch.line(smooth([[50, 16], [(50 + x) / 2 + (x - 50) * 0.3, 30], [x, y - 18]]), THIN)
    for x, y in ((30, 70), (70, 70), (50, 52)):
        sketch.area(oval(x, y, 21), BOLD, PALE)
        sketch.line(bow(x, y, 14, 14, -2.7, -1.7), BOLD)
        for lean in (-0.9, -0.3, 0.3, 0.9):
            sketch.line([[x, y - 21], on((x, y - 21), math.pi / 2 + lean * 1.5, 7)], 2)


def _valves(sketch: Sketch) -> None:
    """Three wings round a nut, each with a swelling, as the renderer has them."""
    sketch.line([[50, -4], [50, 16]], THIN)
    for side in (-1, 1):
        wing = [[50, 14], [50 + side * 24, 14], [50 + side * 42, 38], [50 + side * 34, 70], [50, 90]]
        sketch.area(smooth(wing, closed=True), BOLD)
    valve = [[50, 13], [70, 22], [80, 46], [73, 72], [50, 95], [27, 72], [20, 46], [30, 22]]
    sketch.area(smooth(valve, closed=True), BOLD, PALE)
    wart = winged(FlowerForm("winged", (0, 0, 0)), dice(0, "line"))[-1].points
    sketch.area(put(wart, (50, 44), 0, 40), BOLD)
    for side in (-1, 1):
        sketch.lines(
            (smooth([[50 + side * 9, y], [50 + side * 20, y - 5], [50 + side * 26, y - 4]]) for y in (36, 52, 68)), FINE
        )


def _beaked(sketch: Sketch) -> None:
    """The beak splits into strips that curl up, each with a seed at its foot."""
    sketch.area(tube([[50, 104], [50, 86]], 4), THIN)
    sketch.area([[46, 66], [49.3, 4], [50.7, 4], [54, 66]], BOLD, PALE)
    for side in (-1, 1):
        sketch.line(
            smooth([[50 + side * 1.5, 14], [50 + side * 20, 18], [50 + side * 31, 34], [50 + side * 28, 46]]), BOLD
        )
        sketch.area(oval(50 + side * 26, 52, 4.5, 8, side * 0.3), BOLD, PALE)
    for x in (43, 57, 50):
        sketch.area(oval(x, 74, 6.4, 9.5), BOLD, PALE)
    _cup(sketch, 92, 26, 0.9)


FIGURES: Mapping[str, Mapping[str, Draw]] = {
    "seed_structure": {
        "black_kidney_pod": _kidneys,
        "pod_in_dead_flower": _in_dead_flower,
        "long_pod": _long_pod,
        "heart_pod": _heart_pod,
        "capsule_upright": _splits,
        "lidded_capsule": _lidded,
        "three_lobed_capsule": _three_lobed,
        "curved_capsule": _curved,
        "winged_valves": _valves,
        "berry": _berry,
        "beaked_fruit": _beaked,
    },
    "capsule_hairs": {kind: partial(_capsule_hairs, kind) for kind in ("none", "angles", "all_over")},
}
