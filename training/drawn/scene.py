"""Plan one picture as a frozen value, drawn from its seed before anything is painted."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from model.flora.species import Species
from training.drawn.chance import dice, number_of
from training.drawn.frame import Light
from training.drawn.ground import GROUNDS, Ground
from training.drawn.grow import Stage
from training.drawn.lens import Lens
from training.drawn.organ import Plant
from training.drawn.traits import Shown
from training.drawn.view import View

Framing = Literal["flower", "leaf", "plant", "patch", "standing"]
PLAIN_LAWN = "plain_lawn"  # no weed: a class of its own


@dataclass(frozen=True)
class Scene:
    """Everything about a picture but its pixels. ``fill``: how much of it the plant spans.
    ``plants``: how many plants of the species. ``tilt`` and ``roll`` in rad; ``softness`` px
    of blur on what is out of focus.
    """

    species: str
    seed: int
    stage: Stage
    ground: Ground
    mown: bool
    framing: Framing
    fill: float
    plants: int
    tilt: float
    roll: float
    distance: float
    softness: float
    shift: tuple[float, float]
    light: Light
    lens: Lens

    def __str__(self) -> str:
        cut = "mown" if self.mown else "unmown"
        sun = "sun" if self.light.direct > 0.5 else "overcast" if self.light.direct > 0.22 else "shade"
        return (
            f"{self.species} (seed {self.seed}): {self.plants} x {self.stage} on {cut} {self.ground}, "
            f"{self.framing} view, tilt {math.degrees(self.tilt):.0f} degrees, {sun}"
        )


def plan_scene(
    species: Species | None,
    seed: int,
    stage: Stage | None = None,
    ground: Ground | None = None,
    mown: bool | None = None,
) -> Scene:
    """Draw the plan of a picture; what is given is kept, the rest follows from the seed.

    ``species`` None plans a lawn without weeds.
    """
    name = species.id if species is not None else PLAIN_LAWN
    chance = dice(seed, "scene", name)
    throws = (chance.random(), chance.random(), chance.random())
    chosen: Stage = stage or _stage(throws[0])
    on = ground or ("turf" if species is None else _ground(throws[1]))
    cut = mown if mown is not None else (on == "turf" and throws[2] < 0.55)
    framing = _framing(chance, chosen, species)
    light = _light(chance)
    return Scene(
        name,
        seed,
        chosen,
        on,
        cut,
        framing,
        chance.uniform(0.62, 1.15),
        chance.choice((1, 1, 2, 3, 4)) if framing in ("patch", "standing") else 1,
        _tilt(chance, species, framing),
        chance.gauss(0, 0.12) if framing != "leaf" else chance.uniform(-3.14, 3.14),
        chance.uniform(1.5, 3.2),
        _softness(chance, framing),
        (chance.gauss(0, 0.07), chance.gauss(0, 0.07)),
        light,
        _lens(chance, light),
    )


def _stage(throw: float) -> Stage:
    return "seedling" if throw < 0.12 else "leaves" if throw < 0.42 else "flowering" if throw < 0.85 else "seeding"


def _ground(throw: float) -> Ground:
    for ground, up_to in zip(GROUNDS, (0.52, 0.68, 0.79, 0.91, 1.01), strict=True):
        if throw < up_to:
            return ground
    return GROUNDS[0]


def _framing(chance: random.Random, stage: Stage, species: Species | None) -> Framing:
    throw = chance.random()
    if species is None:
        return "standing" if throw < 0.4 else "patch"
    if stage == "seedling":
        return "plant" if throw < 0.7 else "patch"
    if stage in ("flowering", "seeding") and throw < 0.2:
        return "flower"
    return "leaf" if throw < 0.3 else "plant" if throw < 0.74 else "patch" if throw < 0.94 else "standing"


def _tilt(chance: random.Random, species: Species | None, framing: Framing) -> float:
    score = species.characters.get("growth_habit") if species is not None else None
    states = getattr(score, "states", None) or {}
    if framing == "flower":
        return chance.uniform(0.15, 1.2)
    if "erect" in states or "tuft" in states:
        return chance.uniform(0.15, 1.15)
    return abs(chance.gauss(0.25, 0.3)) if framing != "standing" else chance.uniform(0.3, 0.9)


def _softness(chance: random.Random, framing: Framing) -> float:
    if framing == "flower":
        return chance.uniform(1.5, 7.0)
    if framing in ("leaf", "plant"):
        return chance.uniform(0.0, 2.2)
    return chance.uniform(0.0, 0.9)


def _light(chance: random.Random) -> Light:
    direct = chance.choice((0.0, 0.25, 0.35, 0.55, 0.68, 0.75)) + chance.uniform(0, 0.1)
    high, turn = chance.uniform(0.5, 1.25), chance.uniform(0, 6.28)
    sun = (math.cos(high) * math.cos(turn), math.cos(high) * math.sin(turn), math.sin(high))
    return Light(sun, direct, 1.08 - 0.72 * direct)


def _lens(chance: random.Random, light: Light) -> Lens:
    hard = light.direct
    return Lens(
        exposure=min(150.0, max(62.0, chance.gauss(108, 17))),
        warmth=chance.gauss(0.03 * hard - 0.005, 0.045),
        contrast=min(0.9, max(0.0, chance.gauss(0.38 + 0.25 * hard, 0.15))),
        colour=chance.gauss(0.86, 0.13),
        vignette=chance.choice((0.0, 0.0, 0.1, 0.22)),
        dapple=chance.choice((0.0, 0.0, 0.0, 0.5, 0.9)) * chance.random(),
        blur=chance.choice((0.0, 0.35, 0.5, 0.7, 1.2)) * chance.uniform(0.6, 1.2),
        shake=chance.choice((0.0, 0.0, 0.0, 0.0, 2.0, 4.0)),
        sharpen=chance.choice((0.0, 0.15, 0.3, 0.5)),
        noise=abs(chance.gauss(0, 4.5)),
        quality=chance.randint(58, 96),
    )


def view_of(scene: Scene, plant: Plant | None, shown: Shown | None, side: int) -> View:
    """The camera for a plan, framed on the plant that it shows."""
    chance = dice(scene.seed, "view")
    if plant is None or shown is None:
        across = chance.uniform(140, 420) if scene.framing == "patch" else chance.uniform(420, 1100)
        return View(across, scene.tilt, scene.roll, (0, 0, 0), side, scene.distance)
    c, s = math.cos(scene.tilt), math.sin(scene.tilt)
    broad = max(2 * plant.spread, 2 * plant.spread * c + plant.height * s)
    across = max(14.0, broad / scene.fill)
    target = (scene.shift[0] * across, scene.shift[1] * across, 0.45 * plant.height)
    if scene.framing == "flower" and plant.blossoms:
        one = plant.blossoms[chance.randrange(len(plant.blossoms))]
        across = max(9.0, 2 * one.radius / chance.uniform(0.28, 0.95))
        target = (one.centre[0] + scene.shift[0] * across, one.centre[1] + scene.shift[1] * across, one.centre[2])
    elif scene.framing == "flower" and plant.height > 40:
        across = max(20.0, plant.height * chance.uniform(0.22, 0.5))
        target = (target[0], target[1], plant.height * 0.85)
    elif scene.framing == "leaf":
        across = max(14.0, across * chance.uniform(0.22, 0.5))
        target = _some_leaf(plant, chance)
    elif scene.framing == "patch":
        across = max(60.0, across * chance.uniform(1.2, 2.2))
    elif scene.framing == "standing":
        across = max(150.0, across * chance.uniform(1.3, 2.1))
    return View(min(across, 1600.0), scene.tilt, scene.roll, target, side, scene.distance)


def _some_leaf(plant: Plant, chance: random.Random) -> tuple[float, float, float]:
    """A point on one of the larger leaves, or in the middle of a plant without any."""
    if not plant.leaves:
        return 0.0, 0.0, 0.3 * plant.height
    rows = plant.leaves[0].rows
    row = max((rows[chance.randrange(len(rows))] for _ in range(3)), key=lambda one: float(one[5]))
    out = float(row[5]) * 0.5 * math.cos(row[4])
    x, y = float(row[0]) + out * math.cos(row[3]), float(row[1]) + out * math.sin(row[3])
    return x, y, float(row[2]) + 0.3 * float(row[5]) * math.sin(row[4])


def seeds_of(scene: Scene) -> Sequence[int]:
    """One seed a plant of the scene; the first is the plan's own."""
    return [scene.seed] + [number_of(scene.seed, "neighbour", k) for k in range(1, scene.plants)]
