"""A plain portrait: one plant on paper, without grass, camera or weather, and a scale beside it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from PIL import Image, ImageDraw

from model.flora.species import Species
from training.drawn.frame import Light
from training.drawn.grow import Stage, grow
from training.drawn.paint import Easel
from training.drawn.picture import SIDE
from training.drawn.scene import Scene, plan_scene, view_of
from training.drawn.traits import show

PAPER, INK = 246, (60, 60, 60)  # greys
EVEN = Light((0.3, 0.4, 0.866), 0.3, 0.85)
FLAT, UPRIGHT = 0.3, 1.1  # tilt in rad: from above, and from the side for plants that stand
SIZES = (1, 2, 5, 10, 20, 50, 100, 200, 500)  # mm of the scale


def plan_portrait(species: Species, seed: int, stage: Stage | None = None) -> Scene:
    """The plan of a portrait: one whole plant, in flower where no stage is given."""
    habit = getattr(species.characters.get("growth_habit"), "states", None) or {}
    return replace(
        plan_scene(species, seed, stage or "flowering", "soil", False),
        framing="plant",
        fill=0.72,
        plants=1,
        tilt=UPRIGHT if {"erect", "tuft"} & set(habit) else FLAT,
        roll=0.0,
        softness=0.0,
        shift=(0.0, 0.0),
        light=EVEN,
    )


def draw_portrait(scene: Scene, species: Species, side: int = SIDE) -> Image.Image:
    """Paint the plan of a portrait: RGB, ``side`` px square, with a scale in millimetres at its foot."""
    shown = show(species, scene.seed, False)
    plant = grow(shown, scene.stage, False)
    view = view_of(scene, plant, shown, side)
    easel = Easel(np.full((side, side, 3), PAPER, dtype=np.uint8), view, scene.light)
    easel.put(plant, (0.0, 0.0))
    picture = Image.fromarray(easel.finish(0.0))
    length = max((size for size in SIZES if size <= 0.3 * view.across), default=SIZES[0])
    left, foot, pen = 0.05 * side, 0.94 * side, ImageDraw.Draw(picture)
    right = left + length * view.scale
    pen.line([(left, foot), (right, foot)], fill=INK, width=max(1, side // 200))
    for end in (left, right):
        pen.line([(end, foot - side / 80), (end, foot + side / 80)], fill=INK, width=max(1, side // 200))
    pen.text((left, foot - side / 80), f"{length} mm", fill=INK, anchor="lb", font_size=max(10, side // 28))
    return picture
