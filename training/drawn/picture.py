"""From a plan to pixels."""

from __future__ import annotations

import gc
import math
from typing import Any

import cv2
import numpy as np
from PIL import Image

from model.flora.species import Species
from training.drawn import brush
from training.drawn.brush import Picture
from training.drawn.chance import dice
from training.drawn.ground import SIZE, VARIANTS, Ground, ground_tile, mm_a_px, octave_for
from training.drawn.grow import Stage, grow
from training.drawn.lens import through_lens
from training.drawn.organ import Plant
from training.drawn.paint import Easel
from training.drawn.scene import Scene, plan_scene, seeds_of, view_of
from training.drawn.traits import show
from training.drawn.turf import lawn_of, standing_blades
from training.drawn.view import View

# The eight ways to lay a tile: maps of its px to its px.
_TURNS = tuple(
    np.array([[a, b, (SIZE - 1) * (a < 0 or b < 0)], [c, d, (SIZE - 1) * (c < 0 or d < 0)], [0, 0, 1.0]])
    for a, b, c, d in (
        (1, 0, 0, 1),
        (0, 1, -1, 0),
        (-1, 0, 0, -1),
        (0, -1, 1, 0),
        (-1, 0, 0, 1),
        (1, 0, 0, -1),
        (0, 1, 1, 0),
        (0, -1, -1, 0),
    )
)
SIDE = 412  # px: the size that photos have when the model looks at them


def draw(
    species: Species | None,
    seed: int,
    stage: Stage | None = None,
    ground: Ground | None = None,
    mown: bool | None = None,
    side: int = SIDE,
) -> Image.Image:
    """One drawn photo of a species, or of a plain lawn without one: RGB, ``side`` px square.

    The same for the same arguments on the same machine.
    """
    return draw_scene(plan_scene(species, seed, stage, ground, mown), species, side)


def draw_scene(scene: Scene, species: Species | None, side: int = SIDE) -> Image.Image:
    """Paint a plan. ``species`` must be the one that was planned."""
    # Thousands of small strokes wait to be painted: looking for dead cycles among them costs a third of the time.
    collects = gc.isenabled()
    gc.disable()
    try:
        return _painted(scene, species, side)
    finally:
        if collects:
            gc.enable()


def _painted(scene: Scene, species: Species | None, side: int) -> Image.Image:
    plants: list[tuple[Plant, tuple[float, float]]] = []
    first = None
    if species is not None:
        first = show(species, scene.seed, scene.stage, scene.mown)
        plants.append((grow(first, scene.stage, scene.mown), (0.0, 0.0)))
    view = view_of(scene, plants[0][0] if plants else None, first, side)
    if species is not None:
        plants += _neighbours(scene, species, plants[0][0], view)
    picture = _ground(scene, view)
    easel = Easel(picture, view, scene.light)
    for plant, foot in plants:
        easel.put(plant, foot)
    if scene.ground == "turf":
        easel.put(_grass(scene, view, plants[0][0] if plants else None), (view.target[0], view.target[1]))
    painted = easel.finish(scene.softness)
    return Image.fromarray(through_lens(painted, scene.lens, scene.seed))


def _neighbours(scene: Scene, species: Species, plant: Plant, view: View) -> list[tuple[Plant, tuple[float, float]]]:
    chance, found = dice(scene.seed, "neighbours"), []
    for seed in seeds_of(scene)[1:]:
        away = max(1.1 * plant.spread, 0.42 * view.across) * chance.uniform(0.6, 1.1)
        turn = chance.uniform(0, 6.3)
        other = grow(show(species, seed, scene.stage, scene.mown), scene.stage, scene.mown)
        found.append((other, (away * math.cos(turn), away * math.sin(turn))))
    return found


def _ground(scene: Scene, view: View) -> Picture:
    """The ground as the camera sees it, blurred where it is out of focus."""
    chance = dice(scene.seed, "ground")
    octave = octave_for(view.across)
    tile = ground_tile(scene.ground, octave, _variant(scene))
    turned = _TURNS[chance.randrange(len(_TURNS))]
    spare = 0.12 * mm_a_px(octave) * SIZE
    origin = (view.target[0] + chance.uniform(-spare, spare), view.target[1] + chance.uniform(-spare, spare))
    matrix = turned @ view.ground(mm_a_px(octave), SIZE, origin)
    side = view.side
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    picture: Any = cv2.warpPerspective(tile, matrix, (side, side), flags=flags, borderMode=cv2.BORDER_REFLECT)
    gain = (scene.light.sky * 0.86 + scene.light.direct * scene.light.sun[2] * 0.9) * chance.uniform(0.85, 1.1)
    picture = np.clip(picture * np.float32(gain), 0, 255).astype(np.uint8)
    if view.tilt > 0.6:  # the far ground is out of focus
        soft = brush.soften(picture, 1.0 + scene.softness + 3 * (view.tilt - 0.6))
        rows = np.clip(np.linspace(1.3, -0.5, side, dtype=np.float32), 0, 1)[:, None, None]
        picture = (picture * (1 - rows) + soft * rows).astype(np.uint8)
    return np.ascontiguousarray(brush.soften(picture, scene.softness))


def _variant(scene: Scene) -> int:
    """Which tile of its kind the ground is; of turf, which lawn."""
    return dice(scene.seed, "tile").randrange(VARIANTS[scene.ground])


def _grass(scene: Scene, view: View, plant: Plant | None) -> Plant:
    """Single blades that stand around and in front of the plant."""
    chance = dice(scene.seed, "grass")
    lawn = lawn_of(_variant(scene), chance, scene.mown)
    clear = 0.0 if plant is None else 0.75 * plant.spread
    number = int(min(200, 30 + 5 * (view.across / lawn.length) ** 2))
    if view.across < 4 * lawn.length:
        number = int(number * (0.06 if scene.framing in ("leaf", "flower") else 0.3))
    return standing_blades(lawn, number, 0.62 * view.across, clear, chance)
