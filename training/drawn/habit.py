"""How a plant with broad leaves grows: rosette, upright or leaning stems, mats, runners."""

from __future__ import annotations

import math
import random

import numpy as np

from training.drawn.bloom import bear_some
from training.drawn.chance import apart
from training.drawn.cluster import flower_stem_end
from training.drawn.colour import mixed
from training.drawn.curve import GOLDEN, Array, along, arc, direction, end_direction, facing_up, wander
from training.drawn.foliage import leaf
from training.drawn.organ import Growth

MOST_LEAVES = 240


def _whole(number: float, low: int, high: int) -> int:
    return int(min(high, max(low, round(number))))


def leaf_reach(growth: Growth) -> float:
    """How far one leaf reaches from the stem (mm)."""
    shown = growth.shown
    if shown.leaf_build in ("simple", "finely_cut"):
        return growth.leaves.length
    return max(1.3 * growth.leaves.length, shown.number("leaf_length"))


def rosette(growth: Growth, dice: random.Random, size: float = 1.0) -> None:
    """Leaves from one crown, the oldest lowest and longest, the youngest upright."""
    shown, leaves = growth.shown, growth.leaves
    number = _whole(shown.drawing.dense * dice.uniform(9, 19), 5, 34)
    flat, first = dice.uniform(0.02, 0.5), dice.uniform(0, 6.3)
    round_leaf = leaves.form.outline == "round_kidney"
    for k in range(number):
        young = k / number
        turn = first + k * GOLDEN + dice.gauss(0, 0.22)
        rise = flat + 0.9 * young**1.7 + dice.gauss(0, 0.1) + (0.35 if round_leaf else 0.0)
        part = size * (0.5 + 0.5 * math.sqrt(1 - 0.85 * young)) * dice.uniform(0.72, 1.12)
        leaf(growth, direction(turn, 1 + young * 2, 0.02 * leaves.length), turn, rise, part, dice)


def scapes(growth: Growth, dice: random.Random) -> None:
    """Leafless flower stalks from the crown."""
    shown, bloom = growth.shown, growth.bloom
    assert bloom is not None
    height = shown.number("stalk_height") * 10
    thick = min(3.2, max(0.8, 0.09 * bloom.radius + 0.005 * height))
    forked = shown.state("flower_stalk", "leafless_single") == "leafless_branched"
    for _ in range(dice.choice((1, 1, 2, 2, 3, 4, 6)) if not forked else dice.choice((1, 2, 3, 4))):
        turn, rise = dice.uniform(0, 6.3), dice.uniform(0.95, 1.5)
        path = arc((0, 0, 2), turn, rise, height * dice.uniform(0.55, 1), dice.uniform(-0.15, 0.3), 9)
        growth.stem(path, thick, thick * 0.75)
        flower_stem_end(growth, path, dice)
        for _ in range(dice.randint(1, 3) if forked else 0):
            fork = arc(along(path, dice.uniform(0.45, 0.75)), dice.uniform(0, 6.3), 1.15, height * 0.4, -0.1, 6)
            growth.stem(fork, thick * 0.8, thick * 0.6)
            flower_stem_end(growth, fork, dice)


def _joint_leaves(
    growth: Growth, path: Array, size: float, joints: int, start: float, dice: random.Random, lying: bool
) -> None:
    """Leaves at the joints of a stem, smaller towards its tip."""
    kind = growth.shown.state("leaf_arrangement", "alternate")
    first = dice.uniform(0, 6.3)
    course = math.atan2(path[-1, 1] - path[0, 1], path[-1, 0] - path[0, 0])
    low, high = (-0.05, 0.4) if lying else (0.15, 0.95)
    for k in range(joints):
        t = start + (0.99 - start) * k / max(1, joints - 1)
        foot = along(path, t)
        part = size * (1.08 - 0.55 * t) * dice.uniform(0.8, 1.15)
        if kind == "whorled":
            turns = [first + k * 0.5 + j * 2 * math.pi / 6 for j in range(6)]
        elif kind == "opposite" and lying:
            turns = [course + dice.uniform(1.0, 1.5), course - dice.uniform(1.0, 1.5)]
        elif kind == "opposite":
            turns = [first + k * math.pi / 2 + side * math.pi for side in (0, 1)]
        elif lying:
            turns = [course + (1 if k % 2 else -1) * dice.uniform(0.6, 1.3)]
        else:
            turns = [first + k * GOLDEN]
        for turn in turns:
            leaf(growth, foot, turn + dice.gauss(0, 0.12), dice.uniform(low, high), part, dice)


def upright(growth: Growth, dice: random.Random, lean: float) -> None:
    """One or several leafy stems; ``lean`` rad from the vertical makes them sprawl."""
    shown, bloom = growth.shown, growth.bloom
    tall = shown.number("plant_height") * 10
    if lean > 0.4:
        tall = max(tall, shown.number("stem_length") * 10)
        tall = min(tall, 9 * leaf_reach(growth))  # one that shows its leaves; older plants are longer
    tall = min(tall, 700.0)
    number = dice.choice((1, 1, 2)) if lean < 0.4 else dice.randint(3, 5)
    number = _whole(number * shown.drawing.dense, 1, 12)
    whole = leaf_reach(growth)
    step = max(3.0, (0.3 if lean < 0.4 else 0.45) * whole)
    thick = min(9.0, max(0.6, 0.012 * tall + 0.3), 0.08 * whole + 0.4)
    thin = thick * 0.45 if bloom is None else min(thick * 0.45, 0.4 + 0.22 * bloom.radius)
    flowers = apart(dice)
    for k in range(number):
        turn = dice.uniform(0, 6.3) if number < 3 else k * 2 * math.pi / number + dice.gauss(0, 0.4)
        part = dice.uniform(0.7, 1.0)
        rise = 1.5 - lean * dice.uniform(0.6, 1.25) if k or lean > 0.4 else 1.5
        path = arc((0, 0, 1), turn, max(0.08, rise), tall * part, dice.uniform(-0.35, 0.15) if lean > 0.4 else 0.08, 12)
        growth.stem(path, thick, thin)
        joints = _whole(tall * part / step, 4, max(5, MOST_LEAVES // (number * 2)))
        _joint_leaves(growth, path, 1.0, joints, 0.06, dice, lying=lean > 0.4)
        _branches(growth, path, tall * part, thick, dice)
        if bloom is not None:
            flower_stem_end(growth, path, flowers)
            _in_axils(growth, path, flowers)


def _branches(growth: Growth, path: Array, tall: float, thick: float, dice: random.Random) -> None:
    bloom, shape = growth.bloom, growth.shown.state("spray_shape", "cluster")
    count = {"single": 1, "pyramid": 11, "flat_topped": 6, "spike": 0, "cluster": 3}[shape]
    if tall < 60:
        count = min(count, 2)
    slim = thick * 0.3 if bloom is None else min(thick * 0.3, 0.4 + 0.22 * bloom.radius)
    for k in range(round(count * dice.uniform(0.5, 1.2))):
        at = (0.45 + 0.5 * k / max(1, count)) if bloom is not None else dice.uniform(0.2, 0.8)
        reach = tall * (1.02 - at) * {"flat_topped": 1.25, "pyramid": 0.6}.get(shape, 0.85)
        side = arc(along(path, at), k * GOLDEN, dice.uniform(0.75, 1.15), reach, -0.15, 7)
        growth.stem(side, min(thick * 0.5, 2.5 * slim), slim)
        joints = _whole(reach / (0.4 * growth.leaves.length), 1, 5)
        _joint_leaves(growth, side, 0.62 * (1.05 - 0.5 * at), joints, 0.2, dice, lying=False)
        if bloom is not None:
            flower_stem_end(growth, side, apart(dice))


def _in_axils(growth: Growth, path: Array, dice: random.Random) -> None:
    """Single flowers where leaves join, on plants that bear them so."""
    shown = growth.shown
    if shown.state("cluster_shape", "") != "single" or shown.state("flower_stalk", "leafy") not in ("leafy", "none"):
        return
    stalk = max(1.5, shown.numbers.get("pedicel_length", 2.0))
    for _ in range(dice.randint(1, 4)):
        side = arc(along(path, dice.uniform(0.4, 0.97)), dice.uniform(0, 6.3), dice.uniform(0.5, 1.2), stalk, 0.1, 4)
        growth.stem(side, 0.6, 0.45)
        way = end_direction(side)
        bear_some(growth, side[-1], dice, lambda way=way: way + facing_up(dice, 0.4))  # type: ignore[misc]


def mat(growth: Growth, dice: random.Random) -> None:
    """Stems that lie flat around one point, branching."""
    shown, leaves = growth.shown, growth.leaves
    reach = min(320.0, shown.number("stem_length") * 7.5, 9 * leaf_reach(growth))
    number = _whole(dice.uniform(7, 15) * shown.drawing.dense, 4, 18)
    thick = min(2.2, max(0.7, 0.09 * leaves.length))
    step = max(2.2, 0.42 * leaves.length + 0.06 * shown.number("petiole_length"))
    each = max(6, MOST_LEAVES // (number * (2 if shown.state("leaf_arrangement", "") == "opposite" else 1)))
    for k in range(number):
        turn = k * 2 * math.pi / number + dice.gauss(0, 0.3)
        long = reach * dice.uniform(0.55, 1.0)
        path = arc((0, 0, 1.2), turn, dice.uniform(0.02, 0.16), long, 0.1, 10)
        wander(path, 0.02, long, dice)
        _runner(growth, path, thick, step, each // 2, dice)
        for _ in range(dice.randint(0, 3)):
            foot = along(path, dice.uniform(0.2, 0.7))
            course = turn + dice.choice((-1, 1)) * dice.uniform(0.4, 1.1)
            side = arc(foot, course, 0.06, long * dice.uniform(0.25, 0.5), 0.1, 7)
            _runner(growth, side, thick * 0.8, step, each // 5, dice)


def _runner(growth: Growth, path: Array, thick: float, step: float, most: int, dice: random.Random) -> None:
    """A stem along the ground with its leaves and flowers; ``step`` mm from joint to joint, ``most`` joints."""
    shown, leaves, bloom = growth.shown, growth.leaves, growth.bloom
    long = float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum())
    growth.stem(path, thick, thick * 0.6, mixed(shown.stem_colour, (150, 110, 80), 0.12))
    joints = _whole(long / step, 2, max(3, most))
    if shown.number("petiole_length") > 1.2 * leaves.length or leaves.form.outline == "round_kidney":
        for k in range(joints):  # leaves stand on long stalks above the runner
            foot = along(path, (k + dice.random()) / joints)
            leaf(growth, foot, dice.uniform(0, 6.3), dice.uniform(0.7, 1.45), dice.uniform(0.55, 1.05), dice)
    else:
        _joint_leaves(growth, path, 1.0, joints, 0.08, dice, lying=True)
    flowers = apart(dice)
    if bloom is None:
        return
    stalk = shown.numbers.get("stalk_height", 0.0) * 10 or max(2.0, shown.numbers.get("pedicel_length", 3.0))
    if shown.leaf_build == "three_leaflets":
        stalk = max(stalk, shown.number("petiole_length") * 0.8)
    for _ in range(flowers.randint(1, 4) if bloom.radius < 2.5 else flowers.choice((0, 1, 1, 2, 3))):
        joint, turn = along(path, flowers.uniform(0.25, 1.0)), flowers.uniform(0, 6.3)
        side = arc(joint, turn, flowers.uniform(0.9, 1.5), stalk * flowers.uniform(0.6, 1.1), 0.15, 5)
        growth.stem(side, max(0.4, thick * 0.6), max(0.35, thick * 0.5))
        flower_stem_end(growth, side, flowers)


def creeping(growth: Growth, dice: random.Random) -> None:
    """Runners from one plant, rooting as they go, with leaves all along."""
    shown, leaves = growth.shown, growth.leaves
    high = shown.number("petiole_length") if shown.leaf_build == "three_leaflets" else 0.0
    blade = leaves.length * (1 - leaves.form.stalk) + 0.3 * high
    extent = min(240.0, max(30.0, 5 * blade))
    number = _whole(7 * shown.drawing.dense, 3, 12)
    for k in range(number):
        path = arc((0, 0, 1.0), k * GOLDEN + dice.gauss(0, 0.2), 0.03, extent * dice.uniform(0.35, 1.0), 0.0, 9)
        wander(path, 0.025, extent, dice)
        _runner(
            growth,
            path,
            min(2.4, max(0.6, 0.07 * blade)),
            max(2.5, 0.4 * leaves.length * (1 - leaves.form.stalk) + 0.03 * high),
            MOST_LEAVES // number,
            dice,
        )
