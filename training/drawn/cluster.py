"""How flowers stand together at the end of a stem: singly, in heads, umbels, rows, sprays and rings."""

from __future__ import annotations

import math
import random

import numpy as np

from training.drawn.bloom import bear
from training.drawn.colour import lit, mixed, varied
from training.drawn.curve import GOLDEN, Array, along, arc, direction, end_direction, facing_up, scatter, unit
from training.drawn.flower import FlowerForm
from training.drawn.organ import Bloom, Growth

MOST = 26  # flowers of one cluster that are drawn
UP = np.array([0.0, 0.0, 1.0])


def flower_stem_end(growth: Growth, path: Array, dice: random.Random) -> None:
    """Put a whole cluster at the end of a stem."""
    shown, bloom = growth.shown, growth.bloom
    assert bloom is not None
    shape, build = shown.state("cluster_shape", ""), shown.flower_build
    if build in ("dandelion", "daisy", "button"):
        shape = {"cluster": "tight", "spike": "narrow"}.get(shown.state("spray_shape", "single"), "one")
    elif build == "spike":
        shape = "spike"
    elif build == "pea" and bloom.open.kind == "pea_head":
        shape = "one"
    elif build == "spurge_cup":
        shape = "tight"
    count = max(1, min(MOST, round(shown.number("flowers_per_cluster"))))
    if shape == "spike":
        _spike(growth, path, dice)
    elif shape == "row":
        _row(growth, bloom, path, count, dice)
    elif shape == "panicle" and build == "tiny_green" and shown.state("growth_habit", "") == "erect":
        _spray(growth, path, dice)
    elif shape == "whorls":
        _rings(growth, bloom, path, dice)
    elif shape == "umbel":
        _umbel(growth, bloom, path, count, dice, loose=False)
    elif shape == "panicle":  # spread over all stems
        _umbel(growth, bloom, path, max(2, count // 3), dice, loose=True)
    elif shape in ("head", "tight", "narrow"):
        _head(growth, bloom, path, count if shape == "head" else dice.randint(4, 9), dice, narrow=shape == "narrow")
    else:
        _few(growth, bloom, path, min(3, count) if shape == "single" else 1, dice)


def _one(growth: Growth, bloom: Bloom, at: Array, facing: Array, ripe: float, dice: random.Random) -> None:
    """One flower, or its bud or fruit."""
    throw = dice.random()
    if throw < ripe:
        bear(growth, bloom.ripe, at, facing, bloom.ripe_radius, dice)
    elif throw > 0.9 and bloom.open.kind in ("petals", "straps", "daisy"):
        up = np.array([facing[0], facing[1], 0.2 + abs(facing[2])])
        bear(growth, FlowerForm("bud", bloom.open.colour), at, up, bloom.radius * 0.45, dice)
    else:
        bear(growth, bloom.open, at, facing, bloom.radius, dice)


def _few(growth: Growth, bloom: Bloom, path: Array, number: int, dice: random.Random) -> None:
    """One flower at the end, and others on side stalks below it."""
    facing = end_direction(path) + facing_up(dice, 0.35) * 0.8
    if bloom.nodding:
        facing = np.array([facing[0], facing[1], -0.3])
    _one(growth, bloom, path[-1], facing, growth.ripe, dice)
    for _ in range(number - 1):
        side = arc(path[-2], dice.uniform(0, 6.3), 0.8, 6 + bloom.radius * 2, 0.1, 3)
        growth.stem(side, 0.6, 0.4)
        _one(growth, bloom, side[-1], facing_up(dice, 0.6), growth.ripe, dice)


def _head(growth: Growth, bloom: Bloom, path: Array, number: int, dice: random.Random, narrow: bool) -> None:
    """A crowd of flowers, round or as a narrow spike."""
    end, way, size = path[-1], end_direction(path), bloom.radius
    spread = size * (0.9 + 0.35 * number**0.5)
    for k in range(number):
        step = scatter(dice, 0.4, 0.4, 0.22) * spread
        if narrow:
            step = np.array([dice.gauss(0, 0.2), dice.gauss(0, 0.2), -k * 0.9]) * size * 1.6
        growth.stem(np.stack([end - way * size, end + step]), max(0.4, size * 0.14), max(0.35, size * 0.1))
        facing = way + facing_up(dice, 0.5) + step / max(spread, 1) * 0.6
        _one(growth, bloom, end + step, facing, growth.ripe, dice)


def _row(growth: Growth, bloom: Bloom, path: Array, count: int, dice: random.Random) -> None:
    """Flowers along the end of a stem: buds above, open flowers, then fruits that grew first."""
    shown, ripe = growth.shown, growth.ripe
    pods = shown.state("seed_structure", "") == "long_pod"
    stalk = max(2.0, shown.number("pedicel_length"))
    upright = shown.state("pod_position", "below") == "overtop"
    number = min(MOST, count + round(count * (0.2 + 0.8 * ripe)))
    for k in range(number):
        foot = along(path, 1 - 0.5 * (k / number) ** 1.1)
        turn, open_part = k * 2.4 + dice.gauss(0, 0.3), k < count * (1 - 0.75 * ripe) * 0.4
        rise = dice.uniform(0.9, 1.3) if k < 5 or (pods and upright) else dice.uniform(0.2, 0.9)
        side = arc(foot, turn, rise, stalk * (0.4 if k < 4 else 1.0) * dice.uniform(0.7, 1.2), -0.1, 3)
        growth.stem(side, 0.5, 0.4)
        facing = end_direction(side)
        if open_part:
            _one(growth, bloom, side[-1], facing + 0.5 * UP, 0.0, dice)
        elif pods:
            pod = arc(side[-1], turn, min(1.5, rise + 0.3), bloom.ripe_radius * 2 * dice.uniform(0.6, 1), -0.2, 4)
            growth.stem(pod, 1.1, 0.7, varied(bloom.ripe.colour, dice, 0.12, 0.05))
        else:
            bear(growth, bloom.ripe, side[-1], facing, bloom.ripe_radius * dice.uniform(0.6, 1.0), dice)


def _umbel(growth: Growth, bloom: Bloom, path: Array, count: int, dice: random.Random, loose: bool) -> None:
    """Flowers on stalks from one point, or ``loose``: from points along the upper stem."""
    stalk = max(2.5 * bloom.radius, growth.shown.numbers.get("pedicel_length", 3 * bloom.radius))
    for k in range(count):
        foot = along(path, 1 - 0.35 * dice.random()) if loose else path[-1]
        rise = math.pi / 2 - (0.25 + 0.95 * math.sqrt((k + 0.5) / count))
        side = arc(foot, k * 2.4 + dice.gauss(0, 0.2), rise, stalk * dice.uniform(0.7, 1.1), 0.2, 4)
        growth.stem(side, max(0.5, bloom.radius * 0.1), max(0.4, bloom.radius * 0.08))
        facing = end_direction(side) + 0.7 * UP
        if bloom.nodding:
            facing[2] = -0.4
        _one(growth, bloom, side[-1], facing, growth.ripe, dice)


def _spike(growth: Growth, path: Array, dice: random.Random) -> None:
    """A dense spike on its stalk, with a ring of stamens that climbs while it flowers."""
    shown, ripe = growth.shown, growth.ripe
    wide = shown.number("flower_width")
    long = max(1.6 * wide, (shown.drawing.spike or 0.3) * shown.number("stalk_height") * 10)
    end, way = path[-1], end_direction(path)
    side = unit(np.cross(way, (0.0, 1.0, 0.2)))
    front = np.cross(way, side)
    number = int(min(420, 30 * long / max(wide, 1.0) + 60))
    for k in range(number):
        t, turn = k / number, k * GOLDEN
        out = math.cos(turn) * side + math.sin(turn) * front
        girth = (0.25 + 0.75 * math.sin(math.pi * min(0.97, 0.12 + 0.85 * t)) ** 0.6) * 0.42
        at = end + way * long * t + out * wide * girth
        colour = lit(varied(shown.flower_colour, dice, 0.16, 0.05), 1 - 0.3 * ripe * dice.random())
        growth.flake(at, way * 0.9 + out * 0.5, wide * 0.34, wide * 0.17, colour, pointed=True)
    if ripe < 0.5:
        middle = 0.45 if long < 4 * wide else dice.uniform(0.3, 0.6)
        for k in range(26):
            out = math.cos(k * GOLDEN) * side + math.sin(k * GOLDEN) * front
            foot = end + way * long * (middle + dice.gauss(0, 0.07)) + out * 0.4 * wide
            tip = foot + (out + 0.1 * way) * wide * dice.uniform(0.5, 0.75)
            growth.bristle(foot, tip, (214.0, 212.0, 196.0))
            growth.flake(tip, way, wide * 0.2, wide * 0.12, (226, 218, 170))


def _spray(growth: Growth, path: Array, dice: random.Random) -> None:
    """A dense branching spray of minute green flowers, as fat hen bears."""
    tone = mixed(growth.shown.flower_colour, (176, 186, 150), 0.35)
    size = max(1.3, growth.shown.number("flower_width"))
    span = float(np.linalg.norm(path[-1] - path[len(path) // 2]))
    for k in range(8):
        t = 0.55 + 0.45 * k / 7
        rise = dice.uniform(0.8, 1.25)
        branch = arc(along(path, t), k * 2.4, rise, span * (1.05 - t) * 0.9 + 2 * size, 0.1, 5)
        for _ in range(16):
            at = branch[0] + (branch[-1] - branch[0]) * dice.random()
            at = at + scatter(dice, 1, 1, 1) * size * 0.8
            colour = varied(mixed(tone, (150, 110, 80), 0.5 * growth.ripe), dice, 0.15, 0.04)
            growth.flake(at, (dice.gauss(0, 1), dice.gauss(0, 1), 0.6), size * 1.3, size, colour)


def _rings(growth: Growth, bloom: Bloom, path: Array, dice: random.Random) -> None:
    """Rings of flowers round the upper stem: lipped flowers, or the hanging fruits of docks."""
    shown, ripe = growth.shown, growth.ripe
    docks = bloom.open.kind == "tiny"
    levels = 16 if docks and shown.number("plant_height") > 20 else 3
    number = 12 if docks else max(3, min(9, round(shown.number("flowers_per_cluster") * 0.7)))
    size = bloom.radius if not docks else max(1.2, bloom.radius + ripe * (bloom.ripe_radius - bloom.radius))
    for level in range(levels):
        foot = along(path, (0.5 if docks else 0.72) + (0.5 if docks else 0.27) * level / max(1, levels - 1))
        for k in range(number):
            out = direction(k * 2 * math.pi / number + level + dice.gauss(0, 0.25))
            if docks:
                at = foot + out * size * dice.uniform(0.6, 3.0) + dice.gauss(-0.5, 1.4) * size * UP
                colour = varied(mixed(shown.flower_colour, bloom.ripe.colour, ripe), dice, 0.14, 0.06)
                growth.flake(at, 0.5 * out - 0.8 * UP, size * 2.1, size * 1.7, colour)
            elif dice.random() > ripe:
                at = foot + out * bloom.radius * 0.7 + bloom.radius * 0.6 * UP
                bear(growth, bloom.open, at, out + 0.55 * UP, bloom.radius, dice)
            else:
                growth.flake(
                    foot + out * bloom.radius * 0.4, out, bloom.radius, bloom.radius * 0.6, (122, 128, 74), True
                )
