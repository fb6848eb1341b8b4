"""Grasses, sedges and bulbs: tufts of blades, runners with shoots, culms with heads."""

from __future__ import annotations

import math
import random

import numpy as np
from numpy.typing import NDArray

from training.drawn.bloom import Bloom
from training.drawn.chance import apart
from training.drawn.cluster import flower_stem_end
from training.drawn.colour import mixed
from training.drawn.foliage import Foliage, Place, arc, blade, leaf
from training.drawn.grass_head import grass_head
from training.drawn.organ import Growth

Array = NDArray[np.float64]
GRASS = ("grass_spikelets", "sedge_spikelets")


def shoot(
    growth: Growth, leaves: Foliage, foot: Place, number: int, size: float, dice: random.Random, spread: float
) -> None:
    """Some blades from one point: in two ranks in grasses, three in sedges."""
    ranks = 3 if leaves.shown.state("stem_section", "round") == "three_cornered" else 2
    plane = dice.uniform(0, 6.3)
    folded = 0.55 if leaves.shown.state("leaf_bud", "rolled") == "folded" else 0.22
    stiff = leaves.shown.state("leaf_texture", "thin") == "stiff"
    for k in range(number):
        turn = plane + k * 2 * math.pi / ranks + dice.gauss(0, 0.35)
        rise = 1.45 - spread * dice.uniform(0.25, 1.15)
        droop = dice.uniform(0.1, 0.7) if stiff else dice.uniform(0.25, 1.7)
        length = leaves.length * size * dice.uniform(0.5, 1.1)
        blade(growth, leaves, foot, turn, rise, length, dice, droop, folded * dice.uniform(0.5, 1.2))


def tuft(growth: Growth, leaves: Foliage, bloom: Bloom | None, ripe: float, mown: bool, dice: random.Random) -> None:
    """A tuft of shoots; grasses send up culms, bulbs leafless flower stalks."""
    shown = leaves.shown
    bulb = shown.state("leaf_build", "grassy") == "strap"
    if leaves.build == "three_leaflets":
        _bulb_leaves(growth, leaves, dice)
    else:
        shoots = max(1, round((1 if bulb else dice.uniform(3, 11)) * shown.drawing.dense * (0.5 + shown.vigour)))
        wide = 0.05 * leaves.length + 1.6 * shown.number("blade_width")
        spread = dice.uniform(0.35, 0.8) if not bulb else 0.45
        for _ in range(shoots):
            turn, out = dice.uniform(0, 6.3), wide * abs(dice.gauss(0, 0.5))
            foot = (out * math.cos(turn), out * math.sin(turn), 0.5)
            shoot(growth, leaves, foot, dice.randint(3, 6), 1.0, dice, spread + 0.3 * out / max(wide, 1))
    if bloom is not None:
        culms(growth, leaves, bloom, ripe, mown, apart(dice), dice.randint(1, 5))


def _bulb_leaves(growth: Growth, leaves: Foliage, dice: random.Random) -> None:
    number = round(dice.uniform(6, 15))
    for k in range(number):
        turn = k * 2.4 + dice.gauss(0, 0.2)
        leaf(
            growth,
            leaves,
            (0, 0, 0.5),
            turn,
            1.5 - 0.9 * math.sqrt((number - k) / number),
            dice.uniform(0.55, 1.05),
            dice,
        )


def culms(
    growth: Growth,
    leaves: Foliage,
    bloom: Bloom,
    ripe: float,
    mown: bool,
    dice: random.Random,
    number: int,
    foot: Place = (0, 0, 0.5),
) -> None:
    """Flower stems: of grasses with a leaf or two, of bulbs bare."""
    shown = leaves.shown
    is_grass = shown.state("flower_build", "grass_spikelets") in GRASS
    tall = 10 * shown.number("plant_height" if is_grass else "stalk_height")
    tall = min(tall * 0.8, 75.0) if mown else min(tall * 0.8, 600.0)
    thick = min(3.0, max(0.7, 0.004 * tall + 0.18 * shown.number("blade_width")))
    if leaves.build == "three_leaflets":
        thick = min(2.4, max(0.9, 0.08 * leaves.length))
    for _ in range(number):
        x, y = foot[0] + dice.gauss(0, 1.5), foot[1] + dice.gauss(0, 1.5)
        lean = dice.uniform(0.05, 0.85) if is_grass and mown else dice.uniform(0.03, 0.45)
        path = arc(
            (x, y, foot[2]),
            dice.uniform(0, 6.3),
            1.53 - lean,
            tall * dice.uniform(0.6, 1.0),
            dice.uniform(-0.1, 0.3),
            9,
        )
        growth.stem(path, thick, thick * 0.6, mixed(shown.stem_colour, leaves.colour, 0.35))
        if not is_grass:
            flower_stem_end(growth, shown, bloom, path, ripe, shown.stem_colour, dice)
            continue
        grass_head(growth, shown, path, ripe, dice)
        if shown.state("stem_section", "round") != "three_cornered":
            for at in (0.25, 0.5, 0.72)[: 1 if tall < 60 else 3]:
                place = path[int(at * 8)]
                x0, y0, z0 = place.tolist()
                blade(
                    growth,
                    leaves,
                    (x0, y0, z0),
                    dice.uniform(0, 6.3),
                    dice.uniform(0.4, 1.2),
                    leaves.length * 0.6,
                    dice,
                    0.7,
                    0.2,
                )


def running_grass(
    growth: Growth, leaves: Foliage, bloom: Bloom | None, ripe: float, mown: bool, dice: random.Random
) -> None:
    """Runners with a shoot at each joint, as couch and kikuyu have; or shoots strung underground."""
    shown = leaves.shown
    extent = min(240.0, max(60.0, 2.2 * leaves.length))
    underground = shown.state("stem_rooting", "absent") == "absent"
    for _ in range(round(dice.uniform(5, 10) * shown.drawing.dense)):
        away, turn = extent * abs(dice.gauss(0, 0.45)), dice.uniform(0, 6.3)
        foot = (away * math.cos(turn), away * math.sin(turn), 1.2)
        course = dice.uniform(0, 6.3)
        path = arc(foot, course, 0.04, extent * dice.uniform(0.4, 1.1), 0.0, 9)
        path[:, :2] += np.cumsum([[dice.gauss(0, 0.02), dice.gauss(0, 0.02)] for _ in range(9)], axis=0) * extent
        thick = max(0.9, 0.5 * shown.number("blade_width"))
        if not underground:
            growth.stem(path, thick, thick * 0.7, mixed(shown.stem_colour, (150, 140, 90), 0.3))
        joints = max(2, int(extent / max(8.0, 0.28 * leaves.length)))
        for k in range(min(9, joints)):
            x, y, z = path[min(8, int(9 * (k + dice.random()) / min(9, joints)))].tolist()
            shoot(
                growth,
                leaves,
                (x, y, z),
                dice.randint(2, 4),
                dice.uniform(0.5, 1.0),
                dice,
                1.05 if not underground else 0.6,
            )
        if bloom is not None and dice.random() < 0.4:
            x, y, z = path[5].tolist()
            culms(growth, leaves, bloom, ripe, mown, apart(dice), 1, (x, y, z))


def spreading_grass(
    growth: Growth, leaves: Foliage, bloom: Bloom | None, ripe: float, mown: bool, dice: random.Random
) -> None:
    """Stems that lie around one point and rise at their ends, as crabgrasses do."""
    shown = leaves.shown
    reach = min(260.0, 10 * shown.number("stem_length") * 0.6)
    number = dice.randint(4, 10)
    thick = max(0.9, 0.28 * shown.number("blade_width"))
    for k in range(number):
        turn = k * 2 * math.pi / number + dice.gauss(0, 0.3)
        path = arc((0, 0, 0.8), turn, dice.uniform(0.02, 0.3), reach * dice.uniform(0.4, 1), dice.uniform(-0.6, 0.0), 8)
        growth.stem(path, thick, thick * 0.7, shown.stem_colour)
        for j in range(1, 8, 2 if leaves.length > 60 else 1):
            x, y, z = path[j].tolist()
            way = turn + (1 if j % 2 else -1) * dice.uniform(0.3, 1.0)
            long = leaves.length * dice.uniform(0.55, 1.05)
            blade(growth, leaves, (x, y, z), way, dice.uniform(0.1, 0.8), long, dice, dice.uniform(0.2, 0.8), 0.2)
        if bloom is not None and dice.random() < 0.6:
            grass_head(growth, shown, path, ripe, apart(dice))
    shoot(growth, leaves, (0, 0, 0.5), 5, 0.8, dice, 0.9)
