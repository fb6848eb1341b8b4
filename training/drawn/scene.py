"""A plant of a species on its ground, planned as a frozen value from its seed and then painted."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
from PIL import Image

from model.flora.species import Species
from training.drawn import brush
from training.drawn.chance import noise_dice
from training.drawn.ground import Ground, bare_ground, turf
from training.drawn.grow import RIPE, Stage, grow
from training.drawn.organ import Plant
from training.drawn.paint import Easel
from training.drawn.traits import show, tilt_of
from training.drawn.view import Light, fitting

PLAIN_LAWN = "plain_lawn"  # no weed: a class of its own
SIDE = 412  # px: the size that photos have when the model looks at them
SUN = Light((-0.4, -0.3, 0.866), 0.4, 0.76)
LAWN = np.array([[-90.0, -90, 0], [90, 90, 0]])  # mm: the corners of a piece of plain lawn


@dataclass(frozen=True)
class Scene:
    """What a picture shows. ``tilt``: 0 looks straight down, pi/2 level (rad)."""

    species: str
    seed: int
    stage: Stage
    ground: Ground
    tilt: float

    def __str__(self) -> str:
        return f"{self.species} (seed {self.seed}): {self.stage} on {self.ground}"


def plan_scene(species: Species | None, seed: int, stage: Stage | None = None, ground: Ground | None = None) -> Scene:
    """The plan of a picture, in flower and on turf where nothing is given; ``species`` None is a lawn without weeds."""
    chosen: Stage = stage or ("flowering" if species else "leaves")
    name = species.id if species else PLAIN_LAWN
    tilt = tilt_of(show(species, seed, chosen), chosen in RIPE) if species else 0.4
    return Scene(name, seed, chosen, ground or "turf", min(0.95, tilt))


def draw_scene(scene: Scene, species: Species | None, side: int = SIDE) -> Image.Image:
    """Paint a plan: RGB, ``side`` px square. ``species`` must be the one that was planned."""
    plant = Plant() if species is None else grow(show(species, scene.seed, scene.stage), scene.stage)
    view = fitting(plant.points() or [LAWN], scene.tilt, side, side, 0.03)
    chance = noise_dice(scene.seed, "ground", scene.ground)
    picture = bare_ground(scene.ground, side, view.scale, chance)
    lawn = partial(turf, scene.seed, view.on_the_ground(side), 0.75 * plant.spread)
    if scene.ground == "turf":
        lying = Easel(picture, view, SUN)
        lying.put(lawn(standing=False))
        lying.finish()
    easel = Easel(picture, view, SUN)
    easel.put(plant)
    if scene.ground == "turf":
        easel.put(lawn(standing=True))
    # As a small camera leaves it: a little soft, with grain.
    soft = brush.soften(easel.finish().astype(np.float32), 0.8) + chance.normal(0, 5, (side, side, 1))
    return Image.fromarray(np.clip(soft, 0, 255).astype(np.uint8))


def draw(
    species: Species | None, seed: int, stage: Stage | None = None, ground: Ground | None = None, side: int = SIDE
) -> Image.Image:
    """One drawn picture of a species, or of a plain lawn without one: RGB, ``side`` px square.

    The same for the same arguments on the same machine.
    """
    return draw_scene(plan_scene(species, seed, stage, ground), species, side)
