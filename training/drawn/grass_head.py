"""The flower heads of grasses and sedges, spikelet by spikelet."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from training.drawn.colour import DEAD, STEM, Rgb, lit, mixed, varied
from training.drawn.foliage import Place, arc, way_of
from training.drawn.organ import Growth
from training.drawn.traits import Shown

Array = NDArray[np.float64]
Maker = Callable[[Growth, Shown, Array, Rgb, random.Random], None]


def grass_head(growth: Growth, shown: Shown, culm: Array, ripe: float, dice: random.Random) -> None:
    """The head at the end of a culm; ``ripe`` 0..1 bleaches it to straw."""
    tone = mixed(varied(shown.flower_colour, dice, 0.08, 0.04), DEAD, 0.75 * ripe)
    kind = shown.state("grass_head", "open_panicle")
    _MAKERS[kind](growth, shown, culm, tone, dice)


def _spikelet(growth: Growth, shown: Shown, at: Array, way: Array, tone: Rgb, dice: random.Random) -> None:
    """One spikelet with its awns; several-flowered ones are wider and show their florets."""
    long = shown.number("spikelet_length") * dice.uniform(0.85, 1.1)
    several = shown.state("spikelet_florets", "one") == "several"
    colour = varied(tone, dice, 0.12, 0.04)
    wide = long * (0.24 if several and long > 5 else 0.36)
    x, y, z = at.tolist()
    middle = at + way * long / 2
    growth.flake((*middle.tolist(), *way.tolist(), long, wide, *colour))
    if several and long > 6:
        for k in range(4):
            foot = at + way * long * (0.2 + 0.2 * k)
            growth.flake((*foot.tolist(), *way.tolist(), long * 0.42, wide * 0.55, *lit(colour, 0.86 + 0.09 * k)))
    awns = shown.state("awns", "none")
    if awns != "none":
        reach = long * (1.5 if awns == "long" else 0.5)
        for _ in range(3 if several or awns == "long" else 1):
            off = np.array([dice.gauss(0, 0.16), dice.gauss(0, 0.16), dice.gauss(0, 0.16)])
            end = at + way * long + (way + off) * reach
            growth.bristle((x, y, z, *end.tolist(), *lit(tone, 1.15)))
    if shown.state("spikelet_hairs", "none") == "silky":
        for _ in range(3):
            end = middle + np.array([dice.gauss(0, 1), dice.gauss(0, 1), dice.gauss(0, 1)]) * long * 0.55
            growth.bristle((*middle.tolist(), *end.tolist(), 214.0, 210.0, 200.0))


def _at(point: Array) -> Place:
    x, y, z = point.tolist()
    return x, y, z


def _raceme(growth: Growth, shown: Shown, branch: Array, tone: Rgb, dice: random.Random) -> None:
    """A one-sided row of spikelets along a branch."""
    long = shown.number("spikelet_length")
    span = float(np.linalg.norm(np.diff(branch, axis=0), axis=1).sum())
    number = int(min(30, max(6, span / (0.62 * long))))
    grid = np.linspace(0, 1, len(branch))
    growth.stem(branch, max(0.5, 0.3 * long), 0.4, mixed(STEM, tone, 0.4))
    for k in range(number):
        t = (k + 0.5) / number
        at = np.array([np.interp(t, grid, branch[:, i]) for i in range(3)])
        way = branch[min(len(branch) - 1, int(t * len(branch)) + 1)] - branch[max(0, int(t * len(branch)) - 1)]
        way = way / max(1e-6, float(np.linalg.norm(way)))
        side = np.cross(way, [0.0, 0.0, 1.0]) * (0.45 if k % 2 else -0.45)
        _spikelet(growth, shown, at + np.array([0, 0, -0.1 * long]), (way + side) / 1.1, tone, dice)


def _head_length(shown: Shown) -> float:
    """How long a head is (mm); heads keep a proportion of the plant's height, from memory."""
    return float(np.clip(0.2 * 10 * shown.number("plant_height"), 12, 190))


def fingers(growth: Growth, shown: Shown, culm: Array, tone: Rgb, dice: random.Random) -> None:
    """Spikes that leave one point."""
    number = max(2, min(9, round(shown.number("racemes"))))
    long = _head_length(shown) * 0.75
    for k in range(number):
        turn = k * 2 * math.pi / number + dice.gauss(0, 0.25)
        rise = 0.95 if number == 2 else dice.uniform(0.35, 1.1)
        branch = arc(_at(culm[-1]), turn, rise, long * dice.uniform(0.8, 1.1), dice.uniform(0.0, 0.3), 7)
        _raceme(growth, shown, branch, tone, dice)


def racemes_along(growth: Growth, shown: Shown, culm: Array, tone: Rgb, dice: random.Random) -> None:
    """One-sided rows that hang out along the upper stalk."""
    number = max(2, min(20, round(shown.number("racemes"))))
    span, way = _head_length(shown), way_of(culm)
    axis = arc(_at(culm[-1]), dice.uniform(0, 6.3), 1.35, span, 0.1, 5)
    growth.stem(axis, 0.9, 0.5, STEM)
    grid = np.linspace(0, 1, 5)
    for k in range(number):
        t = k / max(1, number)
        foot = np.array([np.interp(t, grid, axis[:, i]) for i in range(3)])
        long = span * (0.55 if number < 9 else 0.38) * (1.1 - 0.5 * t)
        rise = dice.uniform(0.2, 0.7) + 0.6 * t
        branch = arc(_at(foot), math.atan2(way[1], way[0]) + k * 2.4, rise, long, 0.7, 6)
        _raceme(growth, shown, branch, tone, dice)


def open_panicle(growth: Growth, shown: Shown, culm: Array, tone: Rgb, dice: random.Random) -> None:
    """Branches in rings, their spikelets towards the ends; long spikelets make it nod."""
    span, long = _head_length(shown) * 1.1, shown.number("spikelet_length")
    heavy = 0.9 if long > 12 else 0.25
    axis = arc(_at(culm[-1]), dice.uniform(0, 6.3), 1.35, span, heavy * 0.7, 7)
    growth.stem(axis, 0.8, 0.4, mixed(STEM, tone, 0.3))
    grid = np.linspace(0, 1, 7)
    levels = 5 if long > 12 else 7
    for level in range(levels):
        t = level / levels
        foot = np.array([np.interp(t, grid, axis[:, i]) for i in range(3)])
        for k in range(2 if long > 12 else 3):
            turn = k * 2.1 + level * 1.2 + dice.gauss(0, 0.3)
            reach = span * (0.42 if long > 4 else 0.5) * (1 - 0.75 * t) * dice.uniform(0.6, 1.1) + long * 0.5
            branch = arc(_at(foot), turn, dice.uniform(0.3, 1.0), reach, heavy, 5)
            growth.stem(branch, 0.45, 0.3, mixed(STEM, tone, 0.4))
            number = 2 if long > 12 else 6
            for j in range(number):
                s = 0.45 + 0.55 * (j + 0.5) / number
                at = np.array([np.interp(s, np.linspace(0, 1, 5), branch[:, i]) for i in range(3)])
                at = at + np.array([dice.gauss(0, 0.25), dice.gauss(0, 0.25), dice.gauss(0, 0.2)]) * long
                way = way_of(branch) + np.array([dice.gauss(0, 0.35), dice.gauss(0, 0.35), -heavy * 0.3])
                _spikelet(growth, shown, at, way / float(np.linalg.norm(way)), tone, dice)


def single_spike(growth: Growth, shown: Shown, culm: Array, tone: Rgb, dice: random.Random) -> None:
    """One narrow spike: flat with spikelets in two rows, or round and dense."""
    span, long = _head_length(shown) * 0.9, shown.number("spikelet_length")
    flat = shown.state("spikelet_florets", "one") == "several"
    axis = arc(_at(culm[-1]), dice.uniform(0, 6.3), 1.42, span, 0.15, 6)
    growth.stem(axis, 1.0, 0.6, STEM)
    grid, turn = np.linspace(0, 1, 6), dice.uniform(0, 6.3)
    number = int(min(26, span / (0.62 * long))) if flat else int(min(120, 5 * span / long))
    side = np.array([math.cos(turn), math.sin(turn), 0.0])
    for k in range(max(8, number)):
        t = k / max(8, number)
        at = np.array([np.interp(t, grid, axis[:, i]) for i in range(3)])
        if flat:
            way = np.array([0, 0, 1.0]) + side * (0.42 if k % 2 else -0.42)
        else:
            around = k * 2.4
            way = np.array([0.35 * math.cos(around), 0.35 * math.sin(around), 1.0])
            at = at + np.array([math.cos(around), math.sin(around), 0]) * long * 0.22
        _spikelet(growth, shown, at, way / float(np.linalg.norm(way)), tone, dice)


def ball(growth: Growth, shown: Shown, culm: Array, tone: Rgb, dice: random.Random) -> None:
    """One dense head on leafy bracts."""
    size = 2.2 * shown.number("spikelet_length")
    for k in range(90):
        t = 1 - 2 * (k + 0.5) / 90
        turn, out = k * 2.39996, math.sqrt(max(0.0, 1 - t * t))
        way = np.array([out * math.cos(turn), out * math.sin(turn), t])
        at = culm[-1] + way * size * 0.45
        colour = varied(tone, dice, 0.12, 0.03)
        growth.flake((*at.tolist(), *way.tolist(), size * 0.36, size * 0.17, *colour))
    _bracts(growth, shown, culm, dice)


def _bracts(growth: Growth, shown: Shown, culm: Array, dice: random.Random) -> None:
    bracts = shown.state("head_bracts", "longer")
    if bracts == "none":
        return
    long = _head_length(shown) * (1.35 if bracts == "longer" else 0.7)
    for k in range(3):
        leaf = arc(
            _at(culm[-1]), k * 2.1 + dice.gauss(0, 0.3), dice.uniform(0.1, 0.8), long * dice.uniform(0.6, 1), 0.6, 7
        )
        growth.stem(leaf, max(1.4, 0.7 * shown.number("blade_width")), 0.4, varied((104, 146, 62), dice, 0.08, 0.03))


def rays(growth: Growth, shown: Shown, culm: Array, tone: Rgb, dice: random.Random) -> None:
    """Clusters of flat spikelets on rays of unequal length, over leafy bracts."""
    _bracts(growth, shown, culm, dice)
    long, span = shown.number("spikelet_length"), _head_length(shown) * 0.55
    for k in range(dice.randint(5, 8)):
        branch = arc(_at(culm[-1]), k * 2.4, dice.uniform(0.5, 1.35), span * (0.15 + 0.85 * dice.random()), 0.1, 4)
        growth.stem(branch, 0.8, 0.6, STEM)
        for j in range(dice.randint(7, 12)):
            turn = j * 2.4
            way = np.array([math.cos(turn), math.sin(turn), dice.uniform(-0.15, 0.9)])
            way /= float(np.linalg.norm(way))
            at = branch[-1] + way * long * 0.5
            growth.flake((*at.tolist(), *way.tolist(), long, max(1.1, 0.16 * long), *varied(tone, dice, 0.14, 0.05)))


def burrs(growth: Growth, shown: Shown, culm: Array, tone: Rgb, dice: random.Random) -> None:
    """A spike of spiny burrs."""
    span, long = _head_length(shown) * 0.6, shown.number("spikelet_length")
    axis = arc(_at(culm[-1]), dice.uniform(0, 6.3), 1.3, span, 0.2, 6)
    growth.stem(axis, 0.9, 0.6, STEM)
    grid = np.linspace(0, 1, 6)
    for k in range(14):
        at = np.array([np.interp(k / 14, grid, axis[:, i]) for i in range(3)])
        at = at + np.array([math.cos(k * 2.4), math.sin(k * 2.4), 0]) * long * 0.4
        growth.flake((*at.tolist(), 0, 0, 1, long, long * 0.8, *varied(tone, dice, 0.1, 0.05)), pointed=False)
        for _ in range(16):
            off = np.array([dice.gauss(0, 1), dice.gauss(0, 1), dice.gauss(0, 1)])
            end = at + off / max(0.3, float(np.linalg.norm(off))) * long * 0.95
            growth.bristle((*at.tolist(), *end.tolist(), *lit(tone, 1.2)))


def hidden(growth: Growth, shown: Shown, culm: Array, tone: Rgb, dice: random.Random) -> None:
    """A head inside the top sheath: only white threads of stamens stand out."""
    end = culm[-1]
    for _ in range(12):
        tip = end + np.array([dice.gauss(0, 5), dice.gauss(0, 5), dice.uniform(8, 24)])
        growth.bristle((*end.tolist(), *tip.tolist(), 236.0, 236.0, 226.0))
        growth.flake((*tip.tolist(), 0, 0, 1, 2.4, 0.9, 222, 212, 180))


_MAKERS: Mapping[str, Maker] = {
    "fingers": fingers,
    "racemes_along": racemes_along,
    "open_panicle": open_panicle,
    "hidden": hidden,
    "ball": ball,
    "rays": rays,
    "single_spike": single_spike,
    "burrs": burrs,
}
