"""A figure for every number: what is measured or counted, from where to where, with a ruler."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np

from model.flora.character import Character
from training.drawn.line.blade import feathered, leaf
from training.drawn.line.canvas import BOLD, FINE, INK, PALE, THIN, Sketch
from training.drawn.line.cluster import UP
from training.drawn.line.grass import row, scale
from training.drawn.line.habit import fan
from training.drawn.line.petal import bloom, flower, one_petal
from training.drawn.line.shape import Place, box, on, oval, ray, smooth, tapered, tube
from training.drawn.line.sign import ground

LEFT, RIGHT = 18.0, 91.0  # where a lying ruler starts and ends
HIGH, LOW = 8.0, 90.0  # where a standing one ends and starts
SHARE = 0.64  # of the ruler that the part takes up
END = LEFT + SHARE * (RIGHT - LEFT)
TOP = LOW - SHARE * (LOW - HIGH)


def longest(character: Character) -> float:
    """The number at the ruler's end: 1, 2 or 5 times a power of 10, up to three times the middle of the domain."""
    low, high = character.domain or (1.0, 10.0)
    wanted = min(high, 3 * math.sqrt(low * high))
    power = 10.0 ** math.floor(math.log10(wanted))
    return max(step * power for step in (1, 2, 5) if step * power <= wanted * 1.05)


def _told(value: float) -> str:
    return f"{value:g}"


def _lying(sketch: Sketch, far: float) -> None:
    sketch.line([[LEFT, 82], [RIGHT, 82]], THIN)
    for k in range(11):
        x = LEFT + (RIGHT - LEFT) * k / 10
        sketch.line([[x, 82], [x, 82 - (8 if k % 5 == 0 else 4.5)]], THIN)
    for k in (0, 5, 10):
        sketch.number(min(90, LEFT + (RIGHT - LEFT) * k / 10), 96, _told(far * k / 10), 13)


def _standing(sketch: Sketch, far: float) -> None:
    sketch.line([[22, LOW], [22, HIGH]], THIN)
    for k in range(11):
        y = LOW + (HIGH - LOW) * k / 10
        sketch.line([[22, y], [22 + (7 if k % 5 == 0 else 4), y]], THIN)
    for k in (0, 5, 10):
        sketch.number(10, LOW + (HIGH - LOW) * k / 10 + 4.5, _told(far * k / 10), 13)


def _span(sketch: Sketch, y: float, start: float = LEFT, end: float = END) -> None:
    """The measured span, lying, with guides down to the ruler."""
    sketch.lines(([[x, y + 3], [x, 74]] for x in (start, end)), FINE)
    sketch.line([[start, y], [end, y]], BOLD)
    sketch.lines(([[x, y - 4], [x, y + 4]] for x in (start, end)), BOLD)


def _rise(sketch: Sketch, x: float, top: float = TOP) -> None:
    """The measured span, standing."""
    sketch.line([[x, LOW], [x, top]], BOLD)
    sketch.lines(([[x - 4, y], [x + 4, y]] for y in (LOW, top)), BOLD)
    sketch.lines(([[30, y], [x - 5, y]] for y in (top,)), FINE)


def _plant(sketch: Sketch) -> None:
    ground(sketch, LOW, 34)
    for y, wide in ((82, 24), (72, 23), (62, 19)):
        for side in (-1, 1):
            leaf(sketch, (70, y), (70 + side * wide, y - 9), "oval", ratio=0.36, rib=0)
    sketch.line([[70, LOW], [70, 50]], 2)
    bloom(sketch, 70, 48, 7.5)
    _rise(sketch, 41)


def _bare_stalk(sketch: Sketch) -> None:
    ground(sketch, LOW, 34)
    fan(sketch, 70, LOW - 1, 26, THIN, None)
    sketch.area(tube([[70, LOW], [70, 50]], 3.4), BOLD, PALE)
    bloom(sketch, 70, 42, 8.5)
    _rise(sketch, 41, TOP + 8)


def _long_stem(sketch: Sketch) -> None:
    path = smooth([[LEFT, 52], [30, 48], [END, 52]])
    for k, x in enumerate((18, 27, 36, 45, 54)):
        leaf(sketch, (x, 50), (x + 7, 50 + (16 if k % 2 else -16)), "oval", ratio=0.5, rib=0)
    sketch.area(tube(path, 4.5, 3), BOLD, PALE)
    _span(sketch, 22)


def _whole_leaf(sketch: Sketch) -> None:
    sketch.line([[LEFT, 48], [22, 48]], BOLD)
    leaf(sketch, (22, 48), (END, 48), "oval", weight=BOLD, fill=PALE, ratio=0.72)
    _span(sketch, 22)


def _leaf_across(sketch: Sketch) -> None:
    middle = (LEFT + END) / 2
    sketch.line([[middle, 73], [middle, 64]], THIN)
    leaf(sketch, (middle, 66), (middle, 2), "oval", ratio=(END - LEFT) / 64, fill=PALE, rib=FINE)
    _span(sketch, 38)


def _leaflet(sketch: Sketch) -> None:
    hub = (LEFT, 44.0)
    for turn in (-1.45, 1.45):
        leaf(sketch, on(hub, turn, 1), on(hub, turn, 34), "oval", ratio=0.5)
    sketch.line([[-4, 46], hub], THIN)
    leaf(sketch, hub, (END, 44), "oval", weight=BOLD, fill=PALE, ratio=0.6)
    _span(sketch, 16)


def _blade(sketch: Sketch) -> None:
    middle, half = (LEFT + END) / 2, (END - LEFT) / 2
    sketch.area(
        [
            [middle - half, 72],
            [middle - half, 22],
            [middle - half * 0.4, 2],
            [middle + half * 0.4, 2],
            [middle + half, 22],
            [middle + half, 72],
        ],
        0,
        PALE,
    )
    sketch.lines(
        (smooth([[middle + s * half, 72], [middle + s * half, 24], [middle + s * half * 0.75, 1]]) for s in (-1, 1)),
        THIN,
    )
    sketch.lines(([[middle + s * half * 0.5, 72], [middle + s * half * 0.45, 6]] for s in (-1, 0, 1)), FINE)
    _span(sketch, 40)


def _petal(sketch: Sketch) -> None:
    for k in (1, 2, 3, 4):
        sketch.area(one_petal((LEFT + 6, 44), 1.2566 * k, 2, 34, 26), THIN)
    sketch.area(one_petal((LEFT, 44), 0, 0, END - LEFT, 38), BOLD, PALE)
    sketch.area(oval(LEFT + 4, 44, 4.5), THIN)
    _span(sketch, 13)


def _flower_across(sketch: Sketch) -> None:
    half = (END - LEFT) / 2
    flower(sketch, (LEFT + half, 42), half, 8, 0.6, THIN, PALE, 0.0)
    _span(sketch, 9)


def _spikelet(sketch: Sketch) -> None:
    for lean in (-0.34, 0.34):
        sketch.area(scale((LEFT, 48), lean, 34, 0.17), THIN)
    sketch.area(scale((LEFT, 48), 0, END - LEFT, 0.2), BOLD, PALE)
    sketch.line([[-2, 48], [LEFT, 48]], THIN)
    sketch.line(smooth([[END, 48], [72, 46], [90, 36]]), THIN)
    _span(sketch, 22)


def _glume(sketch: Sketch) -> None:
    sketch.line([[-2, 52], [LEFT, 52]], THIN)
    sketch.area(scale((LEFT + 3, 50), -0.3, 58, 0.2), THIN)
    sketch.area(scale((LEFT, 54), 0.5, 26, 0.2), THIN)
    sketch.area(scale((LEFT, 52), 0, END - LEFT, 0.17), BOLD, PALE)
    _span(sketch, 14)


def _petiole(sketch: Sketch) -> None:
    sketch.area(tube([[LEFT - 4, 74], [LEFT - 3, 2]], 6), THIN)
    leaf(sketch, (END, 48), (98, 40), "oval", ratio=0.8)
    sketch.line([[LEFT, 50], [END, 48]], 4)
    _span(sketch, 22)


def _pedicel(sketch: Sketch) -> None:
    sketch.area(tube([[LEFT - 4, 74], [LEFT - 3, 2]], 6), THIN)
    sketch.line([[LEFT, 50], [END, 48]], 4)
    bloom(sketch, END + 14, 47, 15)
    _span(sketch, 22)


def _fruit(sketch: Sketch) -> None:
    sketch.line([[-2, 48], [LEFT, 48]], THIN)
    sketch.area(tapered(smooth([[LEFT, 48], [30, 45], [END, 48]]), [6, 20, 24, 20, 3]), BOLD, PALE)
    sketch.line(smooth([[LEFT, 48], [30, 45], [END - 4, 48]]), FINE)
    _span(sketch, 22)


def _ligule(sketch: Sketch) -> None:
    """The skin in the angle of a blade, its foot at the ruler's 0."""
    sketch.area(tube([[74, 104], [74, 2]], 12), THIN)
    sketch.area([[62, 104], [62, LOW], [86, LOW - 3], [86, 104]], THIN)
    sketch.area(smooth([[84, LOW - 4], [92, 82], [104, 84], [104, 98], [90, 97]]), THIN)
    skin = [[62, LOW], [61, 64], [64, 48], [69, 44], [74, TOP], [79, 46], [84, 52], [86.5, LOW - 6]]
    sketch.area(smooth([*skin, [74, LOW]], closed=True, each=5), BOLD, PALE)
    sketch.lines(([[66 + 5 * k, LOW - 8], [66.5 + 5 * k, 58]] for k in range(4)), FINE)
    _rise(sketch, 46)


def _numbers(sketch: Sketch, places: list[Place]) -> None:
    for k, (x, y) in enumerate(places):
        sketch.number(x, y + 4.5, str(k + 1), 13)


def _stamens(sketch: Sketch) -> None:
    flower(sketch, (50, 52), 47, 5, 0.86, FINE, None, UP, middle=0)
    sketch.area(oval(50, 52, 6), THIN)
    for k in range(5):
        turn = UP + 1.2566 * k
        sketch.line(ray((50, 52), turn, 6, 19), BOLD)
        sketch.area(oval(*on((50, 52), turn, 20), 3.8), BOLD, INK)
    _numbers(sketch, [on((50, 52), UP + 1.2566 * k, 34) for k in range(5)])


def _styles(sketch: Sketch) -> None:
    """The young fruit from the side with its threads on top; stamens stand around, thin."""
    sketch.area(tube([[50, 104], [50, 88]], 5), THIN)
    for side in (-1, 1):
        sketch.area(one_petal((50, 92), UP + side * 1.0, 0, 50, 26), THIN)
        end = on((50, 84), UP + side * 0.62, 46)
        sketch.line([(50, 84), end], THIN)
        sketch.area(oval(*end, 2.6), THIN)
    sketch.area(oval(50, 72, 15, 17), BOLD, PALE)
    ends = [(32, 22), (50, 17), (68, 22)]
    for x, y in ends:
        sketch.line(smooth([[50 + (x - 50) * 0.15, 55], [50 + (x - 50) * 0.55, 40], [x, y]]), BOLD)
    _numbers(sketch, [(x, y - 10) for x, y in ends])


def _racemes(sketch: Sketch) -> None:
    sketch.line([[50, 104], [50, 66]], THIN)
    leans = (-1.0, -0.5, 0.0, 0.5, 1.0)
    ends = [on((50, 66), UP + lean, 40) for lean in leans]
    for end in ends:
        row(sketch, np.array([(50, 66), ((50 + end[0]) / 2, (66 + end[1]) / 2), end]), 5, 7)
    _numbers(sketch, [on((50, 66), UP + lean, 52) for lean in leans])


def _pairs(sketch: Sketch) -> None:
    path = np.array([[58.0, 104], [58, 70], [58, 22]])
    feathered(sketch, path, 4, 24, 2.2, PALE)
    _numbers(sketch, [(24, 104 - 82 * (0.3 + 0.66 * k / 4) - 8) for k in range(4)])


def _flowers(sketch: Sketch) -> None:
    sketch.line([[50, 104], [50, 74]], THIN)
    leans = (-1.0, -0.5, 0.0, 0.5, 1.0)
    for lean in leans:
        end = on((50, 76), UP + lean, 38)
        sketch.line([(50, 76), end], THIN)
        bloom(sketch, *end, 8.5, BOLD, PALE)
    _numbers(sketch, [on((50, 76), UP + lean, 55) for lean in leans])


def _months(sketch: Sketch) -> None:
    """The twelve months in rows of three: a quarter of the year in each, and a flower to show what is meant."""
    for k in range(12):
        left, top = 4 + 31 * (k % 3), 22 + 19 * (k // 3)
        sketch.area(box(left, top, left + 30, top + 18), THIN, PALE if (k // 3) % 2 else None)
        sketch.number(left + 15, top + 13.5, str(k + 1), 13)
    bloom(sketch, 50, 10.5, 10, BOLD, PALE)


Draw = Callable[[Sketch], None]
LYING: Mapping[str, Draw] = {
    "stem_length": _long_stem,
    "leaf_length": _whole_leaf,
    "leaf_width": _leaf_across,
    "leaflet_length": _leaflet,
    "blade_width": _blade,
    "petal_length": _petal,
    "flower_width": _flower_across,
    "spikelet_length": _spikelet,
    "upper_glume_length": _glume,
    "petiole_length": _petiole,
    "pedicel_length": _pedicel,
    "fruit_length": _fruit,
}
STANDING: Mapping[str, Draw] = {"plant_height": _plant, "stalk_height": _bare_stalk, "ligule_length": _ligule}
COUNTED: Mapping[str, Draw] = {
    "stamens": _stamens,
    "styles": _styles,
    "racemes": _racemes,
    "leaflet_pairs": _pairs,
    "flowers_per_cluster": _flowers,
    "flowering_month": _months,
}


def measure(sketch: Sketch, character: Character) -> None:
    """Draw the figure of a number or month. Raises KeyError where there is none yet."""
    name = character.id
    {**LYING, **STANDING, **COUNTED}[name](sketch)
    if name in LYING:
        _lying(sketch, longest(character))
    elif name in STANDING:
        _standing(sketch, longest(character))
