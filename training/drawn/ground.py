"""What a plant grows on: turf, soil or gravel."""

from __future__ import annotations

import math
from typing import Any, Literal

import numpy as np

from training.drawn import brush
from training.drawn.brush import Picture
from training.drawn.chance import dice
from training.drawn.colour import DEAD, Rgb, mixed
from training.drawn.leaf import VARIANTS, LeafForm
from training.drawn.organ import Leaves, Plant, plant_of

Ground = Literal["turf", "soil", "gravel"]
GROUNDS: tuple[Ground, ...] = ("turf", "soil", "gravel")
Dice = np.random.Generator
LAWN: Rgb = (112, 140, 84)
BLADE = LeafForm("grass", ratio=0.04, veins="none")
LONG = 42.0  # mm: a blade of the lawn
_TURN = np.linspace(0, 2 * np.pi, 11, endpoint=False)


def bare_ground(kind: Ground, side: int, scale: float, chance: Dice) -> Picture:
    """Soil, the soil below turf, or gravel, uint8 (side, side, 3); ``scale`` px a mm."""
    base = np.array({"turf": (74, 68, 44), "soil": (134, 110, 86), "gravel": (92, 84, 76)}[kind])
    clod = brush.cloud(chance, side, side, max(8.0, 30 * scale), 5)
    crumb = brush.cloud(chance, side, side, max(2.0, 3 * scale), 3)
    light = 1 + 0.14 * clod + 0.13 * crumb + 0.2 * np.gradient(clod + crumb, axis=0)
    picture = np.clip(base * light[..., None], 0, 255).astype(np.uint8)
    size = 6 * scale if kind == "gravel" else 1.6 * scale
    number = min(5000, round(2.0 * (side / max(size, 1.6)) ** 2)) if kind == "gravel" else 60
    for _ in range(number):
        tone = (base if kind == "soil" else np.array((152, 146, 140))) * chance.uniform(0.7, 1.25)
        _stone(picture, chance, max(0.9, size * chance.uniform(0.4, 1.1)), tone)
    return np.asarray(brush.soften(picture, 0.7))


def _stone(picture: Picture, chance: Dice, radius: float, tone: Any) -> None:
    """One lit stone with the dark below it."""
    centre = chance.uniform(0, picture.shape[0], 2)
    reach = radius * (1 + chance.normal(0, 0.13, 11))
    shape = np.stack([reach * np.cos(_TURN), reach * chance.uniform(0.6, 1.0) * np.sin(_TURN)], axis=1)
    brush.fill(picture, centre + shape * 1.03 + radius * 0.12, tuple((tone * 0.42).tolist()))
    for part, light in ((1.0, 0.85), (0.62, 1.05)):
        brush.fill(picture, centre - radius * 0.16 * (1 - part) + shape * part, tuple((tone * light).tolist()))


def turf(seed: int, piece: tuple[float, float, float, float], clear: float, standing: bool) -> Plant:
    """The blades of a ``piece`` of lawn (lowest x and y, highest x and y in mm), lying or ``standing``; few of
    the latter within ``clear`` mm of the plant's foot.
    """
    chance, rows = dice(seed, "turf", standing), dict[Rgb, list[tuple[float, ...]]]()
    left, near, right, far = piece[0] - LONG, piece[1] - 2 * LONG, piece[2] + LONG, piece[3] + LONG
    dense = (0.06 if standing else 2.0) / (LONG * LONG * BLADE.ratio)
    for _ in range(min(9000, round(dense * (right - left) * (far - near)))):
        x, y = chance.uniform(left, right), chance.uniform(near, far)
        if standing and math.hypot(x, y) < clear and chance.random() < 0.9:
            continue
        rise = chance.uniform(0.5, 1.2) if standing else chance.uniform(0.05, 0.7)
        place = (x, y, 0.0, chance.uniform(0, 6.3), rise, LONG * chance.uniform(0.4, 1.15), chance.uniform(0.1, 1.3))
        shape = (chance.gauss(0, 0.3), chance.uniform(0.05, 0.5), chance.uniform(0.7, 1.2), chance.gauss(1.0, 0.12))
        tone = mixed(DEAD, LAWN, 0.2) if chance.random() < 0.1 else LAWN
        rows.setdefault(tone, []).append((*place, *shape, float(chance.randrange(VARIANTS))))
    return plant_of(tuple(Leaves(BLADE, tone, np.array(some)) for tone, some in rows.items()))
