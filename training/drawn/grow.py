"""Grow one plant of a species to a stage: parts in space, from its characters alone."""

from __future__ import annotations

import random
from typing import Literal

from training.drawn import habit, tuft
from training.drawn.bloom import bear_some, bloom_of
from training.drawn.chance import dice
from training.drawn.curve import facing_up
from training.drawn.foliage import blade, foliage_of, leaf, seed_leaves
from training.drawn.organ import Growth, Plant
from training.drawn.traits import Shown

Stage = Literal["seedling", "leaves", "flowering", "seeding"]
STAGES: tuple[Stage, ...] = ("seedling", "leaves", "flowering", "seeding")
RIPE = {"flowering": 0.12, "seeding": 0.85}  # share of the flowers that have gone to seed


def grow(shown: Shown, stage: Stage) -> Plant:
    """One plant at a stage. Leaves and flowers have chances of their own, so that a changed
    flower leaves the foliage as it was.
    """
    if stage == "seedling":
        return _seedling(shown)
    leafy = dice(shown.seed, "leaves")
    leaves = foliage_of(shown, leafy)
    growth = Growth(shown, leaves, bloom_of(shown) if stage in RIPE else None, RIPE.get(stage, 0.0))
    kind = shown.state("growth_habit", "rosette")
    if shown.grassy:
        if kind == "creeping":
            tuft.running_grass(growth, leafy)
        elif kind in ("mat", "sprawling", "rosette"):
            tuft.spreading_grass(growth, leafy)
        else:
            tuft.tuft(growth, leafy)
        return growth.done()
    if kind == "rosette" or (kind == "tuft" and shown.leaf_build != "three_leaflets"):
        _rosette(growth, leafy)
    elif kind == "tuft":
        tuft.tuft(growth, leafy)
    elif kind == "erect" and stage == "leaves" and shown.state("leaf_arrangement", "alternate") == "basal":
        habit.rosette(growth, leafy)
    elif kind == "erect":
        habit.upright(growth, leafy, 0.12)
        if shown.state("rosette_at_flowering", "withered") == "present":
            habit.rosette(growth, leafy, 0.9)
    elif kind == "sprawling":
        habit.upright(growth, leafy, 0.95)
    elif kind == "mat":
        habit.mat(growth, leafy)
    else:
        habit.creeping(growth, leafy)
    _seated_flowers(growth)
    return growth.done()


def _rosette(growth: Growth, leafy: random.Random) -> None:
    habit.rosette(growth, leafy)
    if growth.bloom is None:
        return
    flowery, shown = dice(growth.shown.seed, "flowers"), growth.shown
    if shown.state("flower_stalk", "leafless_single").startswith("leafless"):
        habit.scapes(growth, flowery)
    elif shown.state("flower_stalk", "leafy") == "leafy":
        habit.upright(growth, flowery, 0.25)


def _seated_flowers(growth: Growth) -> None:
    """Heads without a stalk, tight in the crown."""
    shown = growth.shown
    if growth.bloom is None or shown.state("flower_stalk", "leafy") != "none":
        return
    chance = dice(shown.seed, "seated")
    for _ in range(chance.randint(3, 9)):
        reach = shown.number("leaf_length") * 0.3
        place = (chance.gauss(0, reach), chance.gauss(0, reach), 3.0 + chance.random() * 3)
        bear_some(growth, place, chance, lambda: facing_up(chance, 0.4))


def _seedling(shown: Shown) -> Plant:
    """Seed leaves and the first true ones; of a grass, one to three blades."""
    leafy = dice(shown.seed, "seedling")
    growth = Growth(shown, leaves := foliage_of(shown, leafy))
    if shown.grassy:
        for k in range(leafy.randint(1, 4)):
            long = min(60.0, leaves.length * 0.5) * leafy.uniform(0.4, 1.0)
            turn = k * 3.14 + leafy.gauss(0, 0.4)
            blade(growth, (0, 0, 0.5), turn, leafy.uniform(0.5, 1.4), long, leafy, 0.8)
        return growth.done()
    span = min(26.0, max(6.0, 0.16 * shown.number("leaf_length"))) * leafy.uniform(0.8, 1.3)
    if leafy.random() < 0.85:
        seed_leaves(growth, span, leafy)
    full = leaves.length if shown.leaf_build not in ("three_leaflets", "feather") else shown.number("leaf_length")
    first, number = leafy.uniform(0, 6.3), leafy.randint(0, 5)
    pairs = shown.state("leaf_arrangement", "basal") == "opposite"
    for k in range(number):
        size = min(0.45, span / full * leafy.uniform(0.5, 1.1) * (1.2 - 0.12 * k))
        turn = first + (k // 2 * 1.57 + k % 2 * 3.14 if pairs else k * 2.4)
        leaf(growth, (0, 0, 2.0 + k * 0.5), turn, leafy.uniform(0.1, 0.8), size, leafy)
    return growth.done()
