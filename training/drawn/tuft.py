"""Grasses, sedges and bulbs: tufts of blades, runners with shoots, culms with heads."""

from __future__ import annotations

import math
import random

from training.drawn.chance import apart
from training.drawn.cluster import flower_stem_end
from training.drawn.colour import mixed
from training.drawn.curve import Place, arc, direction, wander
from training.drawn.foliage import blade, leaf
from training.drawn.grass_head import grass_head
from training.drawn.organ import Growth

GRASS = ("grass_spikelets", "sedge_spikelets")


def shoot(growth: Growth, foot: Place, number: int, size: float, dice: random.Random, spread: float) -> None:
    """Some blades from one point: in two ranks in grasses, three in sedges."""
    shown = growth.shown
    ranks = 3 if shown.state("stem_section", "round") == "three_cornered" else 2
    plane = dice.uniform(0, 6.3)
    folded = 0.55 if shown.state("leaf_bud", "rolled") == "folded" else 0.22
    most_droop = (0.1, 0.7) if shown.state("leaf_texture", "thin") == "stiff" else (0.25, 1.7)
    for k in range(number):
        turn = plane + k * 2 * math.pi / ranks + dice.gauss(0, 0.35)
        rise = 1.45 - spread * dice.uniform(0.25, 1.15)
        droop = dice.uniform(*most_droop)
        length = growth.leaves.length * size * dice.uniform(0.5, 1.1)
        blade(growth, foot, turn, rise, length, dice, droop, folded * dice.uniform(0.5, 1.2))


def tuft(growth: Growth, dice: random.Random) -> None:
    """A tuft of shoots; grasses send up culms, bulbs leafless flower stalks."""
    shown = growth.shown
    bulb = shown.state("leaf_build", "grassy") == "strap"
    if shown.leaf_build == "three_leaflets":
        number = round(dice.uniform(6, 15))
        for k in range(number):
            turn, rise = k * 2.4 + dice.gauss(0, 0.2), 1.5 - 0.9 * math.sqrt((number - k) / number)
            leaf(growth, (0, 0, 0.5), turn, rise, dice.uniform(0.55, 1.05), dice)
    else:
        shoots = max(1, round((1 if bulb else dice.uniform(3, 11)) * shown.drawing.dense))
        wide = 0.05 * growth.leaves.length + 1.6 * shown.number("blade_width")
        spread = dice.uniform(0.35, 0.8) if not bulb else 0.45
        for _ in range(shoots):
            turn, out = dice.uniform(0, 6.3), wide * abs(dice.gauss(0, 0.5))
            foot = direction(turn, 0.5, out)
            shoot(growth, foot, dice.randint(3, 6), 1.0, dice, spread + 0.3 * out / max(wide, 1))
    if growth.bloom is not None:
        culms(growth, apart(dice), dice.randint(1, 5))


def culms(growth: Growth, dice: random.Random, number: int, foot: Place = (0, 0, 0.5)) -> None:
    """Flower stems: of grasses with a leaf or two, of bulbs bare."""
    shown, leaves = growth.shown, growth.leaves
    is_grass = shown.state("flower_build", "grass_spikelets") in GRASS
    tall = min(8 * shown.number("plant_height" if is_grass else "stalk_height"), 600.0)
    thick = min(3.0, max(0.6, 0.0025 * tall + 0.1 * shown.number("blade_width")))
    if shown.leaf_build == "three_leaflets":
        thick = min(2.4, max(0.9, 0.08 * leaves.length))
    for _ in range(number):
        start = (foot[0] + dice.gauss(0, 1.5), foot[1] + dice.gauss(0, 1.5), foot[2])
        rise = 1.53 - dice.uniform(0.03, 0.45)
        path = arc(start, dice.uniform(0, 6.3), rise, tall * dice.uniform(0.6, 1.0), dice.uniform(-0.1, 0.3), 9)
        growth.stem(path, thick, thick * 0.6, mixed(shown.stem_colour, leaves.colour, 0.85 if is_grass else 0.35))
        if not is_grass:
            flower_stem_end(growth, path, dice)
            continue
        grass_head(growth, path, dice)
        if shown.state("stem_section", "round") != "three_cornered":
            for at in (2, 4, 5)[: 1 if tall < 60 else 3]:
                turn, rise = dice.uniform(0, 6.3), dice.uniform(0.4, 1.2)
                blade(growth, path[at], turn, rise, leaves.length * 0.6, dice, 0.7, 0.2)


def running_grass(growth: Growth, dice: random.Random) -> None:
    """Runners with a shoot at each joint, as couch and kikuyu have; or shoots strung underground."""
    shown, length = growth.shown, growth.leaves.length
    extent = min(240.0, max(60.0, 2.2 * length))
    underground = shown.state("stem_rooting", "absent") == "absent"
    thick = max(0.9, 0.5 * shown.number("blade_width"))
    joints = min(9, max(2, int(extent / max(8.0, 0.28 * length))))
    for side in (0.15, -2.6, 3.6, 0.9):
        long = extent * dice.uniform(0.6, 1.0)
        path = arc((0, 0, 1.2), side + dice.gauss(0, 0.15), 0.04, long, 0.0, 9)
        wander(path, 0.02, extent, dice)
        if not underground:
            growth.stem(path, thick, thick * 0.7, mixed(shown.stem_colour, (150, 140, 90), 0.3))
        for k in range(joints):
            place = path[min(8, int(9 * (k + 0.5) / joints))]
            shoot(growth, place, 4, dice.uniform(0.6, 1.0), dice, 0.6)
        if growth.bloom is not None:
            culms(growth, apart(dice), 1, path[5])


def spreading_grass(growth: Growth, dice: random.Random) -> None:
    """Stems that lie around one point and rise at their ends, as crabgrasses do."""
    shown, length = growth.shown, growth.leaves.length
    reach = min(260.0, 10 * shown.number("stem_length") * 0.6)
    number = dice.randint(4, 10)
    thick = max(0.9, 0.28 * shown.number("blade_width"))
    for k in range(number):
        turn = k * 2 * math.pi / number + dice.gauss(0, 0.3)
        path = arc(
            (0, 0, 0.8), turn, dice.uniform(0.02, 0.3), reach * dice.uniform(0.4, 1), dice.uniform(-1.1, -0.5), 8
        )
        growth.stem(path, thick, thick * 0.7)
        for j in range(1, 8, 2 if length > 60 else 1):
            way = turn + (1 if j % 2 else -1) * dice.uniform(0.3, 1.0)
            long = length * dice.uniform(0.55, 1.05)
            blade(growth, path[j], way, dice.uniform(0.1, 0.8), long, dice, dice.uniform(0.2, 0.8), 0.2)
        if growth.bloom is not None and dice.random() < 0.8:
            grass_head(growth, path, apart(dice))
    shoot(growth, (0, 0, 0.5), 5, 0.8, dice, 0.9)
