"""Grow one plant of a species to a stage: parts in space, from its characters alone."""

from __future__ import annotations

from typing import Literal

from training.drawn import habit, tuft
from training.drawn.bloom import Bloom, bear, bloom_of, facing_up
from training.drawn.chance import dice
from training.drawn.foliage import blade, foliage_of, leaf, seed_leaves
from training.drawn.organ import Growth, Plant
from training.drawn.traits import Shown

Stage = Literal["seedling", "leaves", "flowering", "seeding"]
STAGES: tuple[Stage, ...] = ("seedling", "leaves", "flowering", "seeding")


def grow(shown: Shown, stage: Stage, mown: bool = False) -> Plant:
    """One plant at a stage. Leaves and flowers have chances of their own, so that a changed
    flower leaves the foliage as it was.
    """
    growth = Growth()
    if stage == "seedling":
        return _seedling(growth, shown)
    leafy = dice(shown.seed, "leaves")
    leaves = foliage_of(shown, leafy)
    bloom = bloom_of(shown) if stage in ("flowering", "seeding") else None
    ripe = 0.85 if stage == "seeding" else 0.12
    kind = shown.state("growth_habit", "rosette")
    if shown.grassy:
        if kind == "creeping":
            tuft.running_grass(growth, leaves, bloom, ripe, mown, leafy)
        elif kind in ("mat", "sprawling", "rosette"):
            tuft.spreading_grass(growth, leaves, bloom, ripe, mown, leafy)
        else:
            tuft.tuft(growth, leaves, bloom, ripe, mown, leafy)
        return growth.done()
    if kind == "rosette" or (kind == "tuft" and leaves.build != "three_leaflets"):
        _rosette(growth, shown, bloom, ripe, mown)
    elif kind == "tuft":
        tuft.tuft(growth, leaves, bloom, ripe, mown, leafy)
    elif kind == "erect":
        if stage == "leaves" and shown.state("leaf_arrangement", "alternate") == "basal":
            habit.rosette(growth, leaves, leafy)
        else:
            habit.upright(growth, leaves, bloom, ripe, leafy, 0.12, mown)
            if shown.state("rosette_at_flowering", "withered") == "present" and not mown:
                habit.rosette(growth, leaves, leafy, 0.9)
    elif kind == "sprawling":
        habit.upright(growth, leaves, bloom, ripe, leafy, 0.95, mown)
    elif kind == "mat":
        habit.mat(growth, leaves, bloom, ripe, leafy)
    else:
        habit.creeping(growth, leaves, bloom, ripe, leafy)
    _seated_flowers(growth, shown, bloom, ripe)
    return growth.done()


def _rosette(growth: Growth, shown: Shown, bloom: Bloom | None, ripe: float, mown: bool) -> None:
    leafy, flowery = dice(shown.seed, "leaves"), dice(shown.seed, "flowers")
    leaves = foliage_of(shown, leafy)
    habit.rosette(growth, leaves, leafy)
    if bloom is None:
        return
    if shown.state("flower_stalk", "leafless_single").startswith("leafless"):
        habit.scapes(growth, leaves, bloom, ripe, mown, flowery)
    elif shown.state("flower_stalk", "leafy") == "leafy":
        habit.upright(growth, leaves, bloom, ripe, flowery, 0.25, mown)


def _seated_flowers(growth: Growth, shown: Shown, bloom: Bloom | None, ripe: float) -> None:
    """Heads without a stalk, tight in the crown."""
    if bloom is None or shown.state("flower_stalk", "leafy") != "none":
        return
    chance = dice(shown.seed, "seated")
    for _ in range(chance.randint(3, 9)):
        reach = shown.number("leaf_length") * 0.3
        place = (chance.gauss(0, reach), chance.gauss(0, reach), 3.0 + chance.random() * 3)
        form, radius = (bloom.ripe, bloom.ripe_radius) if chance.random() < ripe else (bloom.open, bloom.radius)
        bear(growth, form, place, facing_up(chance, 0.4), radius, chance)


def _seedling(growth: Growth, shown: Shown) -> Plant:
    """Seed leaves and the first true ones; of a grass, one to three blades."""
    leafy = dice(shown.seed, "seedling")
    leaves = foliage_of(shown, leafy)
    if shown.grassy:
        for k in range(leafy.randint(1, 4)):
            long = min(60.0, leaves.length * 0.5) * leafy.uniform(0.4, 1.0)
            blade(
                growth, leaves, (0, 0, 0.5), k * 3.14 + leafy.gauss(0, 0.4), leafy.uniform(0.5, 1.4), long, leafy, 0.8
            )
        return growth.done()
    span = min(26.0, max(6.0, 0.16 * shown.number("leaf_length"))) * leafy.uniform(0.8, 1.3)
    if leafy.random() < 0.85:
        seed_leaves(growth, leaves, span, leafy)
    full = leaves.length if leaves.build not in ("three_leaflets", "feather") else shown.number("leaf_length")
    first, number = leafy.uniform(0, 6.3), leafy.randint(0, 5)
    pairs = shown.state("leaf_arrangement", "basal") == "opposite"
    for k in range(number):
        size = min(0.45, span / full * leafy.uniform(0.5, 1.1) * (1.2 - 0.12 * k))
        turn = first + (k // 2 * 1.57 + k % 2 * 3.14 if pairs else k * 2.4)
        leaf(growth, leaves, (0, 0, 2.0 + k * 0.5), turn, leafy.uniform(0.1, 0.8), size, leafy)
    return growth.done()
