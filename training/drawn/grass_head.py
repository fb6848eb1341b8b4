"""The flower heads of grasses and sedges, spikelet by spikelet."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping

import numpy as np

from training.drawn.colour import DEAD, STEM, Rgb, lit, mixed, varied
from training.drawn.curve import GOLDEN, Array, along, arc, direction, end_direction, scatter
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
    """One-sided rows that hang out along the upper stalk."""
    number = max(2, min(20, round(growth.shown.number("racemes"))))
    span, way = _head_length(growth.shown), end_direction(culm)
    axis = arc(culm[-1], dice.uniform(0, 6.3), 1.35, span, 0.1, 5)
    growth.stem(axis, 0.9, 0.5, STEM)
    for k in range(number):
        t = k / number
        long = span * (0.55 if number < 9 else 0.38) * (1.1 - 0.5 * t)
        rise = dice.uniform(0.2, 0.7) + 0.6 * t
        branch = arc(along(axis, t), math.atan2(way[1], way[0]) + k * 2.4, rise, long, 0.7, 6)
        _raceme(growth, branch, tone, dice)


def open_panicle(growth: Growth, culm: Array, tone: Rgb, dice: random.Random) -> None:
    """Branches in rings, their spikelets towards the ends; long spikelets make it nod."""
    span, long = _head_length(growth.shown) * 1.1, growth.shown.number("spikelet_length")
    heavy, levels, branches, number = (0.9, 5, 2, 2) if long > 12 else (0.25, 7, 3, 6)
    axis = arc(culm[-1], dice.uniform(0, 6.3), 1.35, span, heavy * 0.7, 7)
    growth.stem(axis, 0.8, 0.4, mixed(STEM, tone, 0.3))
    for level in range(levels):
        t = level / levels
        for k in range(branches):
            turn = k * 2.1 + level * 1.2 + dice.gauss(0, 0.3)
            reach = span * (0.42 if long > 4 else 0.5) * (1 - 0.75 * t) * dice.uniform(0.6, 1.1) + long * 0.5
            branch = arc(along(axis, t), turn, dice.uniform(0.3, 1.0), reach, heavy, 5)
            growth.stem(branch, 0.45, 0.3, mixed(STEM, tone, 0.4))
            for j in range(number):
                at = along(branch, 0.45 + 0.55 * (j + 0.5) / number) + scatter(dice, 0.25, 0.25, 0.2) * long
                way = end_direction(branch) + np.array([dice.gauss(0, 0.35), dice.gauss(0, 0.35), -heavy * 0.3])
                _spikelet(growth, at, way / float(np.linalg.norm(way)), tone, dice)


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
    _bracts(growth, culm, dice)


def _bracts(growth: Growth, culm: Array, dice: random.Random) -> None:
    shown, bracts = growth.shown, growth.shown.state("head_bracts", "longer")
    if bracts == "none":
        return
    long = _head_length(shown) * (1.35 if bracts == "longer" else 0.7)
    for k in range(3):
        turn, rise = k * 2.1 + dice.gauss(0, 0.3), dice.uniform(0.1, 0.8)
        bract = arc(culm[-1], turn, rise, long * dice.uniform(0.6, 1), 0.6, 7)
        growth.stem(bract, max(1.4, 0.7 * shown.number("blade_width")), 0.4, varied((104, 146, 62), dice, 0.08, 0.03))


def rays(growth: Growth, culm: Array, tone: Rgb, dice: random.Random) -> None:
    """Clusters of flat spikelets on rays of unequal length, over leafy bracts."""
    _bracts(growth, culm, dice)
    long, span = growth.shown.number("spikelet_length"), _head_length(growth.shown) * 0.55
    for k in range(dice.randint(5, 8)):
        branch = arc(culm[-1], k * 2.4, dice.uniform(0.5, 1.35), span * (0.15 + 0.85 * dice.random()), 0.1, 4)
        growth.stem(branch, 0.8, 0.6, STEM)
        for j in range(dice.randint(7, 12)):
            way = direction(j * 2.4, dice.uniform(-0.15, 0.9))
            way /= float(np.linalg.norm(way))
            colour = varied(tone, dice, 0.14, 0.05)
            growth.flake(branch[-1] + way * long * 0.5, way, long, max(1.1, 0.16 * long), colour, pointed=True)


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
