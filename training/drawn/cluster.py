"""How flowers stand together at the end of a stem: singly, in heads, umbels, rows, sprays and rings."""

from __future__ import annotations

import math
import random

import numpy as np
from numpy.typing import NDArray

from training.drawn.bloom import Bloom, bear, facing_up
from training.drawn.colour import Rgb, lit, mixed, varied
from training.drawn.flower import FlowerForm
from training.drawn.foliage import Place, arc, way_of
from training.drawn.organ import Growth
from training.drawn.traits import Shown

Array = NDArray[np.float64]
MOST = 26  # flowers of one cluster that are drawn


def flower_stem_end(
    growth: Growth, shown: Shown, bloom: Bloom, path: Array, ripe: float, tone: Rgb, dice: random.Random
) -> None:
    """Put a whole cluster at the end of a stem. ``ripe`` 0..1 is the share that has gone to seed."""
    shape = shown.state("cluster_shape", "")
    build = shown.state("flower_build", "tiny_green")
    if build in ("dandelion", "daisy", "button"):
        shape = {"cluster": "tight", "spike": "narrow"}.get(shown.state("spray_shape", "single"), "one")
    elif build == "spike":
        shape = "spike"
    elif build == "pea" and bloom.open.kind == "pea_head":
        shape = "one"
    elif build == "spurge_cup":
        shape = "tight"
    count = max(1, min(MOST, round(shown.number("flowers_per_cluster"))))
    end, way = path[-1], way_of(path)
    if shape == "spike":
        spike(growth, shown, path, ripe, dice)
    elif shape == "row":
        _row(growth, shown, bloom, path, count, ripe, tone, dice)
    elif shape == "panicle" and build == "tiny_green":
        spray(growth, shown, path, ripe, dice)
    elif shape == "whorls":
        rings(growth, shown, bloom, path, ripe, dice)
    elif shape in ("umbel", "panicle"):
        if shape == "panicle":  # spread over all stems
            count = max(2, count // 3)
        _umbel(growth, shown, bloom, path, count, ripe, tone, dice, loose=shape == "panicle")
    elif shape in ("head", "tight", "narrow"):
        number = count if shape == "head" else dice.randint(4, 9)
        spread = bloom.radius * (0.9 + 0.35 * number**0.5)
        for k in range(number):
            step = np.array([dice.gauss(0, 0.4), dice.gauss(0, 0.4), dice.gauss(0, 0.22)]) * spread
            if shape == "narrow":
                step = np.array([dice.gauss(0, 0.2), dice.gauss(0, 0.2), -k * 0.9]) * bloom.radius * 1.6
            place = end + step
            _stalk(growth, end - way * bloom.radius, place, tone, bloom.radius)
            _one(growth, bloom, place, way + facing_up(dice, 0.5) + step / max(spread, 1) * 0.6, ripe, dice)
    else:
        facing = way + facing_up(dice, 0.35) * 0.8
        _one(growth, bloom, end, np.array([facing[0], facing[1], -0.3]) if bloom.nodding else facing, ripe, dice)
        for _ in range(min(3, count) - 1 if shape == "single" else 0):
            side = arc(_place(path[-2]), dice.uniform(0, 6.3), 0.8, 6 + bloom.radius * 2, 0.1, 3)
            growth.stem(side, 0.6, 0.4, tone)
            _one(growth, bloom, side[-1], facing_up(dice, 0.6), ripe, dice)


def _place(point: Array) -> Place:
    x, y, z = point.tolist()
    return x, y, z


def _one(growth: Growth, bloom: Bloom, at: Array, facing: Array, ripe: float, dice: random.Random) -> None:
    """One flower, or its bud or fruit."""
    throw = dice.random()
    if throw < ripe:
        bear(growth, bloom.ripe, _place(at), facing, bloom.ripe_radius, dice)
    elif throw > 0.9 and bloom.open.kind in ("petals", "straps", "daisy"):
        closed = FlowerForm("bud", bloom.open.colour)
        bear(
            growth,
            closed,
            _place(at),
            np.array([facing[0], facing[1], 0.2 + abs(facing[2])]),
            bloom.radius * 0.45,
            dice,
        )
    else:
        bear(growth, bloom.open, _place(at), facing, bloom.radius, dice)


def _stalk(growth: Growth, start: Array, end: Array, tone: Rgb, size: float) -> None:
    growth.stem(np.stack([start, end]), max(0.4, size * 0.14), max(0.35, size * 0.1), tone)


def _row(
    growth: Growth, shown: Shown, bloom: Bloom, path: Array, count: int, ripe: float, tone: Rgb, dice: random.Random
) -> None:
    """Flowers along the end of a stem: buds above, open flowers, then fruits that grew first."""
    pods = shown.state("seed_structure", "") == "long_pod"
    stalk = max(2.0, shown.number("pedicel_length"))
    grid = np.linspace(0, 1, len(path))
    fruits = round(count * (0.2 + 0.8 * ripe))
    upright = shown.state("pod_position", "below") == "overtop"
    number = min(MOST, count + fruits)
    for k in range(number):
        at = 1 - 0.5 * (k / number) ** 1.1
        foot = np.array([np.interp(at, grid, path[:, i]) for i in range(3)])
        turn, open_part = k * 2.4 + dice.gauss(0, 0.3), k < count * (1 - 0.75 * ripe) * 0.4
        rise = dice.uniform(0.9, 1.3) if k < 5 or (pods and upright) else dice.uniform(0.2, 0.9)
        side = arc(_place(foot), turn, rise, stalk * (0.4 if k < 4 else 1.0) * dice.uniform(0.7, 1.2), -0.1, 3)
        growth.stem(side, 0.5, 0.4, tone)
        facing = way_of(side)
        if open_part:
            _one(growth, bloom, side[-1], facing + np.array([0, 0, 0.5]), 0.0, dice)
        elif pods:
            pod = arc(
                _place(side[-1]), turn, min(1.5, rise + 0.3), bloom.ripe_radius * 2 * dice.uniform(0.6, 1), -0.2, 4
            )
            growth.stem(pod, 1.1, 0.7, varied(bloom.ripe.colour, dice, 0.12, 0.05))
        else:
            bear(growth, bloom.ripe, _place(side[-1]), facing, bloom.ripe_radius * dice.uniform(0.6, 1.0), dice)


def _umbel(
    growth: Growth,
    shown: Shown,
    bloom: Bloom,
    path: Array,
    count: int,
    ripe: float,
    tone: Rgb,
    dice: random.Random,
    loose: bool,
) -> None:
    stalk = max(2.5 * bloom.radius, shown.numbers.get("pedicel_length", 3 * bloom.radius))
    hub = path[-1]
    grid = np.linspace(0, 1, len(path))
    for k in range(count):
        foot = hub
        if loose:
            at = 1 - 0.35 * dice.random()
            foot = np.array([np.interp(at, grid, path[:, i]) for i in range(3)])
        rise = math.pi / 2 - (0.25 + 0.95 * math.sqrt((k + 0.5) / count))
        side = arc(_place(foot), k * 2.4 + dice.gauss(0, 0.2), rise, stalk * dice.uniform(0.7, 1.1), 0.2, 4)
        growth.stem(side, max(0.5, bloom.radius * 0.1), max(0.4, bloom.radius * 0.08), tone)
        facing = way_of(side) + np.array([0, 0, 0.7])
        if bloom.nodding:
            facing[2] = -0.4
        _one(growth, bloom, side[-1], facing, ripe, dice)


def spike(growth: Growth, shown: Shown, path: Array, ripe: float, dice: random.Random) -> None:
    """A dense spike on its stalk, with a ring of stamens that climbs while it flowers."""
    height = shown.number("stalk_height") * 10
    wide = shown.number("flower_width")
    long = max(1.6 * wide, (shown.drawing.spike or 0.3) * height)
    end, way = path[-1], way_of(path)
    tone = shown.flower_colour
    number = int(min(240, 14 * long / max(wide, 1.0) ** 0.9 + 40))
    for k in range(number):
        t, turn = k / number, k * 2.39996
        out = np.array([math.cos(turn), math.sin(turn), 0.0])
        at = end + way * long * t + out * wide * 0.34 * (1 - 0.45 * t)
        colour = lit(varied(tone, dice, 0.16, 0.05), 1 - 0.3 * ripe * dice.random())
        growth.flake((*at.tolist(), *(way * 0.6 + out * 0.8).tolist(), wide * 0.42, wide * 0.3, *colour), pointed=False)
    if ripe < 0.5:
        ring = dice.uniform(0.1, 0.7)
        for k in range(22):
            turn, t = k * 2.4, ring + dice.gauss(0, 0.06)
            foot = end + way * long * t
            tip = foot + np.array([math.cos(turn), math.sin(turn), 0.1]) * wide * dice.uniform(0.75, 1.05)
            growth.bristle((*foot.tolist(), *tip.tolist(), 196.0, 194.0, 170.0))
            growth.flake((*tip.tolist(), 0, 0, 1, wide * 0.12, wide * 0.12, 214, 206, 164), pointed=False)


def spray(growth: Growth, shown: Shown, path: Array, ripe: float, dice: random.Random) -> None:
    """A dense branching spray of minute green flowers, as fat hen bears."""
    tone = mixed(shown.flower_colour, (176, 186, 150), 0.35)
    size = max(1.3, shown.number("flower_width"))
    span = float(np.linalg.norm(path[-1] - path[len(path) // 2]))
    grid = np.linspace(0, 1, len(path))
    for k in range(8):
        t = 0.55 + 0.45 * k / 7
        foot = np.array([np.interp(t, grid, path[:, i]) for i in range(3)])
        branch = arc(_place(foot), k * 2.4, dice.uniform(0.8, 1.25), span * (1.05 - t) * 0.9 + 2 * size, 0.1, 5)
        for _ in range(16):
            at = branch[0] + (branch[-1] - branch[0]) * dice.random()
            at = at + np.array([dice.gauss(0, 1), dice.gauss(0, 1), dice.gauss(0, 1)]) * size * 0.8
            colour = varied(mixed(tone, (150, 110, 80), 0.5 * ripe), dice, 0.15, 0.04)
            growth.flake(
                (*at.tolist(), dice.gauss(0, 1), dice.gauss(0, 1), 0.6, size * 1.3, size, *colour), pointed=False
            )


def rings(growth: Growth, shown: Shown, bloom: Bloom, path: Array, ripe: float, dice: random.Random) -> None:
    """Rings of flowers round the upper stem: lipped flowers, or the hanging fruits of docks."""
    grid = np.linspace(0, 1, len(path))
    docks = bloom.open.kind == "tiny"
    levels = 16 if docks and shown.number("plant_height") > 20 else 3
    size = bloom.radius if not docks else max(1.6, bloom.ripe_radius)
    for level in range(levels):
        t = (0.5 if docks else 0.72) + (0.5 if docks else 0.27) * level / max(1, levels - 1)
        foot = np.array([np.interp(t, grid, path[:, i]) for i in range(3)])
        number = 12 if docks else max(3, min(9, round(shown.number("flowers_per_cluster") * 0.7)))
        for k in range(number):
            turn = k * 2 * math.pi / number + level + dice.gauss(0, 0.25)
            out = np.array([math.cos(turn), math.sin(turn), 0.0])
            if docks:
                at = foot + out * size * dice.uniform(0.6, 3.0) + np.array([0, 0, dice.gauss(-0.5, 1.4) * size])
                base = mixed(shown.flower_colour, bloom.ripe.colour, ripe)
                colour = varied(base, dice, 0.14, 0.06)
                growth.flake(
                    (*at.tolist(), 0.5 * out[0], 0.5 * out[1], -0.8, size * 2.1, size * 1.7, *colour), pointed=False
                )
            elif dice.random() > ripe:
                at = foot + out * bloom.radius * 0.7 + np.array([0, 0, bloom.radius * 0.6])
                bear(growth, bloom.open, _place(at), out + np.array([0, 0, 0.55]), bloom.radius, dice)
            else:
                at = foot + out * bloom.radius * 0.4
                growth.flake((*at.tolist(), *out.tolist(), bloom.radius, bloom.radius * 0.6, 122, 128, 74))
