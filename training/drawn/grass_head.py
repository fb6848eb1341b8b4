"""The flower heads of grasses and sedges, spikelet by spikelet."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping

import numpy as np

from training.drawn.colour import DEAD, STEM, Rgb, lit, mixed, varied
from training.drawn.curve import GOLDEN, Array, along, arc, direction, end_direction, scatter, unit
from training.drawn.organ import Growth
from training.drawn.traits import Shown

UP = np.array([0.0, 0.0, 1.0])


def grass_head(growth: Growth, culm: Array, dice: random.Random) -> None:
    """The head at the end of a culm; ripe ones are bleached to straw."""
    shown = growth.shown
    tone = mixed(varied(shown.flower_colour, dice, 0.08, 0.04), DEAD, 0.75 * growth.ripe)
    _MAKERS[shown.state("grass_head", "open_panicle")](growth, culm, tone, dice)


def _spikelet(growth: Growth, at: Array, way: Array, tone: Rgb, dice: random.Random) -> None:
    """One spikelet with its awns; several-flowered ones are wider and show their florets."""
    shown = growth.shown
    long = shown.number("spikelet_length") * dice.uniform(0.85, 1.1)
    several = shown.state("spikelet_florets", "one") == "several"
    colour = varied(tone, dice, 0.12, 0.04)
    wide = long * (0.24 if several and long > 5 else 0.36)
    middle = at + way * long / 2
    growth.flake(middle, way, long, wide, colour, pointed=True)
    for k in range(4 if several and long > 6 else 0):
        foot = at + way * long * (0.2 + 0.2 * k)
        growth.flake(foot, way, long * 0.42, wide * 0.55, lit(colour, 0.86 + 0.09 * k), pointed=True)
    awns = shown.state("awns", "none")
    if awns != "none":
        reach = long * (1.5 if awns == "long" else 0.5)
        for _ in range(3 if several or awns == "long" else 1):
            growth.bristle(at, at + way * long + (way + scatter(dice, 0.16, 0.16, 0.16)) * reach, lit(tone, 1.15))
    if shown.state("spikelet_hairs", "none") == "silky":
        for _ in range(3):
            growth.bristle(middle, middle + scatter(dice, 1, 1, 1) * long * 0.55, (214.0, 210.0, 200.0))


def _raceme(growth: Growth, branch: Array, tone: Rgb, dice: random.Random) -> None:
    """A one-sided row of spikelets along a branch."""
    long = growth.shown.number("spikelet_length")
    span = float(np.linalg.norm(np.diff(branch, axis=0), axis=1).sum())
    number = int(min(30, max(6, span / (0.62 * long))))
    growth.stem(branch, max(0.5, 0.3 * long), 0.4, mixed(STEM, tone, 0.4))
    for k in range(number):
        t = (k + 0.5) / number
        way = branch[min(len(branch) - 1, int(t * len(branch)) + 1)] - branch[max(0, int(t * len(branch)) - 1)]
        way = way / max(1e-6, float(np.linalg.norm(way)))
        side = np.cross(way, UP) * (0.45 if k % 2 else -0.45)
        _spikelet(growth, along(branch, t) - 0.1 * long * UP, (way + side) / 1.1, tone, dice)


def _head_length(shown: Shown) -> float:
    """How long a head is (mm); heads keep a proportion of the plant's height, from memory."""
    return float(np.clip(0.2 * 10 * shown.number("plant_height"), 12, 190))


def fingers(growth: Growth, culm: Array, tone: Rgb, dice: random.Random) -> None:
    """Spikes that leave one point."""
    number = max(2, min(9, round(growth.shown.number("racemes"))))
    long = _head_length(growth.shown) * 0.75
    for k in range(number):
        turn = k * 2 * math.pi / number + dice.gauss(0, 0.25)
        rise = 0.95 if number == 2 else dice.uniform(0.35, 1.1)
        branch = arc(culm[-1], turn, rise, long * dice.uniform(0.8, 1.1), dice.uniform(0.0, 0.3), 7)
        _raceme(growth, branch, tone, dice)


def racemes_along(growth: Growth, culm: Array, tone: Rgb, dice: random.Random) -> None:
    """Racemes one after the other along the upper stalk, arching to one side, spikelets hanging in rows below them."""
    number = max(2, min(20, round(growth.shown.number("racemes"))))
    span, long = _head_length(growth.shown), growth.shown.number("spikelet_length")
    turn = dice.uniform(-0.5, 0.5)
    axis = arc(culm[-1], turn, 1.4, span * 0.8, 0.35, 9)
    growth.stem(axis, 0.9, 0.5, STEM)
    for k in range(number):
        t = 0.9 * k / max(1, number - 1) + 0.1
        reach = span * (0.55 if number < 9 else 0.38) * (1.1 - 0.4 * t)
        branch = arc(along(axis, t), turn + 0.35 * (-1) ** k, 0.75 + 0.2 * t, reach, 1.5, 12)
        growth.stem(branch, max(0.5, 0.22 * long), 0.3, mixed(STEM, tone, 0.4))
        rows = int(min(60, max(6, reach / (0.5 * long))))
        for j in range(rows):
            at = along(branch, 0.06 + 0.94 * j / rows)
            way = unit(along(branch, min(1.0, j / rows + 0.1)) - along(branch, j / rows) - 0.35 * long * UP)
            _spikelet(growth, at - (0.1 + 0.35 * (j % 2)) * long * UP, way, tone, dice)
            if growth.ripe < 0.5 and j % 2:  # dark anthers hang out
                foot = at - 0.5 * long * UP + way * 0.5 * long
                end = foot + scatter(dice, 0.12, 0.12, 0.1) * long - 0.5 * long * UP
                growth.bristle(foot, end, (150.0, 130.0, 120.0))
                growth.flake(end, UP, 0.5 * long, 0.2 * long, (62, 34, 62))


def open_panicle(growth: Growth, culm: Array, tone: Rgb, dice: random.Random) -> None:
    """Branches in rings, longest below, spikelets towards their ends: a triangle; long spikelets make it nod."""
    span, long = _head_length(growth.shown) * 1.1, growth.shown.number("spikelet_length")
    heavy, levels, number = (0.9, 5, 2) if long > 12 else (0.25, 6, 5)
    axis = arc(culm[-1], dice.uniform(0, 6.3), 1.45, span, heavy * 0.5, 9)
    growth.stem(axis, max(0.4, 0.12 * long), 0.25, mixed(STEM, tone, 0.3))
    for level in range(levels):
        t = level / levels
        reach = (0.6 * span * (1 - t) + 0.5 * long) * dice.uniform(0.85, 1.0)
        for k in range(2):
            turn = k * math.pi + level * 1.0 + dice.gauss(0, 0.25)
            branch = arc(along(axis, t), turn, 0.3 + 0.5 * t, reach, heavy * 0.6, 7)
            growth.stem(branch, max(0.25, 0.07 * long), 0.2, mixed(STEM, tone, 0.4))
            for j in range(max(1, round(number * (1 - 0.6 * t)))):
                foot = along(branch, 0.45 + 0.55 * (j + 1) / number)
                way = unit(end_direction(branch) + scatter(dice, 0.3, 0.3, 0.2, 0.15 - heavy * 0.3))
                _spikelet(growth, foot, way, tone, dice)
            _spikelet(growth, branch[-1], end_direction(branch), tone, dice)


def single_spike(growth: Growth, culm: Array, tone: Rgb, dice: random.Random) -> None:
    """One narrow spike: flat with spikelets in two rows, or round and dense."""
    span, long = _head_length(growth.shown) * 0.9, growth.shown.number("spikelet_length")
    flat = growth.shown.state("spikelet_florets", "one") == "several"
    axis = arc(culm[-1], dice.uniform(0, 6.3), 1.42, span, 0.15, 6)
    growth.stem(axis, 1.0, 0.6, STEM)
    side = direction(dice.uniform(0, 6.3))
    number = max(8, int(min(26, span / (0.62 * long))) if flat else int(min(120, 5 * span / long)))
    for k in range(number):
        at = along(axis, k / number)
        if flat:
            way = UP + side * (0.42 if k % 2 else -0.42)
        else:
            way = direction(k * 2.4, 1.0, 0.35)
            at = at + direction(k * 2.4) * long * 0.22
        _spikelet(growth, at, way / float(np.linalg.norm(way)), tone, dice)


def ball(growth: Growth, culm: Array, tone: Rgb, dice: random.Random) -> None:
    """One dense head on leafy bracts."""
    size = 2.2 * growth.shown.number("spikelet_length")
    for k in range(90):
        up = 1 - 2 * (k + 0.5) / 90
        way = direction(k * GOLDEN, up, math.sqrt(max(0.0, 1 - up * up)))
        colour = varied(tone, dice, 0.12, 0.03)
        growth.flake(culm[-1] + way * size * 0.45, way, size * 0.36, size * 0.17, colour, pointed=True)
    _bracts(growth, culm, 4 * size, dice)


def _bracts(growth: Growth, culm: Array, span: float, dice: random.Random) -> None:
    """Leafy bracts below a head that is ``span`` mm long."""
    shown, bracts = growth.shown, growth.shown.state("head_bracts", "longer")
    if bracts == "none":
        return
    long = span * (2.2 if bracts == "longer" else 1.0)
    for k in range(3):
        turn, rise = k * 2.1 + dice.gauss(0, 0.3), dice.uniform(0.1, 0.8)
        bract = arc(culm[-1], turn, rise, long * dice.uniform(0.6, 1), 0.6, 7)
        growth.stem(bract, max(1.4, 0.7 * shown.number("blade_width")), 0.4, varied((104, 146, 62), dice, 0.08, 0.03))


def rays(growth: Growth, culm: Array, tone: Rgb, dice: random.Random) -> None:
    """Narrow flat spikelets spreading along the ends of rays of unequal length, over leafy bracts."""
    long = growth.shown.number("spikelet_length")
    span = max(2.2 * long, _head_length(growth.shown) * 0.5)
    _bracts(growth, culm, span, dice)
    for k in range(6):
        reach = span * (0.12 if k == 0 else (0.35, 0.75, 1.0, 0.55, 0.9)[k - 1])
        branch = arc(culm[-1], k * GOLDEN, 1.45 if k == 0 else dice.uniform(0.6, 1.2), reach, 0.05, 5)
        growth.stem(branch, 0.8, 0.5, STEM)
        course = end_direction(branch)
        for j in range(8):
            out = direction(j * GOLDEN, 0.0)
            way = unit(0.55 * course + out * (0.9 - 0.08 * j) + 0.1 * UP)
            foot = branch[-1] - course * 0.05 * long * (8 - j)
            colour = varied(tone, dice, 0.1, 0.04)
            growth.flake(foot + way * long * 0.5, way, long, max(1.3, 0.13 * long), colour, pointed=True)
            for part in range(6):  # the overlapping scales
                spot = foot + way * long * (0.15 + 0.13 * part)
                growth.flake(spot, way, 0.16 * long, 0.09 * long, lit(colour, 1.25 if part % 2 else 0.8), pointed=True)


def burrs(growth: Growth, culm: Array, tone: Rgb, dice: random.Random) -> None:
    """A spike of spiny burrs."""
    span, long = _head_length(growth.shown) * 0.6, growth.shown.number("spikelet_length")
    axis = arc(culm[-1], dice.uniform(0, 6.3), 1.3, span, 0.2, 6)
    growth.stem(axis, 0.9, 0.6, STEM)
    for k in range(14):
        at = along(axis, k / 14) + direction(k * 2.4) * long * 0.4
        growth.flake(at, UP, long, long * 0.8, varied(tone, dice, 0.1, 0.05))
        for _ in range(16):
            off = scatter(dice, 1, 1, 1)
            end = at + off / max(0.3, float(np.linalg.norm(off))) * long * 0.95
            growth.bristle(at, end, lit(tone, 1.2))


def hidden(growth: Growth, culm: Array, tone: Rgb, dice: random.Random) -> None:
    """A head inside the top sheath: only white threads of stamens stand out."""
    for _ in range(12):
        tip = culm[-1] + np.array([dice.gauss(0, 5), dice.gauss(0, 5), dice.uniform(8, 24)])
        growth.bristle(culm[-1], tip, (236.0, 236.0, 226.0))
        growth.flake(tip, UP, 2.4, 0.9, (222, 212, 180), pointed=True)


_MAKERS: Mapping[str, Callable[[Growth, Array, Rgb, random.Random], None]] = {
    "fingers": fingers,
    "racemes_along": racemes_along,
    "open_panicle": open_panicle,
    "hidden": hidden,
    "ball": ball,
    "rays": rays,
    "single_spike": single_spike,
    "burrs": burrs,
}
