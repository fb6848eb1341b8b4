"""Flowers, heads and fruits painted once a form, to be turned and tilted into pictures."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from training.drawn import brush, daisy, fruit, pea
from training.drawn import flower as flowers
from training.drawn.chance import dice, noise_dice
from training.drawn.colour import lit
from training.drawn.flower import FlowerForm, Part, Points, Sketch

SIDE = 176  # px
REACH = 1.3  # radii from the middle to the edge of the painted square
VARIANTS = 3
Painter = Callable[[Sketch, FlowerForm, random.Random], None]
_PAINTERS: Mapping[tuple[str, str], Painter] = {
    ("daisy", "top"): daisy.daisy_from_top,
    ("daisy", "side"): daisy.daisy_from_side,
    ("straps", "top"): daisy.straps_from_top,
    ("straps", "side"): daisy.straps_from_side,
    ("button", "top"): daisy.button_from_top,
    ("button", "side"): daisy.button_from_side,
    ("thistle", "top"): daisy.thistle_from_top,
    ("thistle", "side"): daisy.thistle_from_side,
    ("pea", "side"): pea.pea_from_side,
    ("pea_head", "top"): pea.head_from_top,
    ("pea_head", "side"): pea.head_from_side,
    ("petals", "top"): flowers.petals_from_top,
    ("petals", "side"): flowers.petals_from_side,
    ("lipped", "side"): flowers.lipped,
    ("tubular", "side"): flowers.tubular,
    ("tiny", "top"): flowers.tiny,
    ("spurge", "top"): flowers.spurge_cup,
    ("bud", "side"): flowers.bud,
    ("clock", "top"): fruit.clock,
    ("tuft", "side"): fruit.tuft,
    ("fluff", "top"): fruit.fluff,
    ("heart_pod", "side"): fruit.heart_pod,
    ("spiny_ball", "top"): fruit.spiny_ball,
    ("capsule", "side"): fruit.capsule,
    ("ball", "top"): fruit.ball,
    ("cheese", "top"): fruit.cheese,
    ("twins", "side"): fruit.twins,
    ("bare_disc", "top"): fruit.bare_disc,
    ("winged", "side"): fruit.winged,
    ("beak", "side"): fruit.beak,
}
_VIEWS: Mapping[str, tuple[str, ...]] = {
    kind: tuple(view for other, view in _PAINTERS if other == kind) for kind, _ in _PAINTERS
}


def views_of(kind: str) -> tuple[str, ...]:
    """The views that a kind of flower can be painted from: top, side or both."""
    return _VIEWS[kind]


def flower_parts(form: FlowerForm, variant: int = 0) -> list[Part]:
    """The shapes of a flower, back to front, in its unit frame."""
    sketch = Sketch()
    _PAINTERS[form.kind, form.view](sketch, form, dice(variant, "flower", form))
    return sketch.parts


@dataclass(frozen=True)
class Sprite:
    """A painted flower: uint8 (side, side, 4), RGB times coverage and coverage, at several sizes."""

    levels: tuple[Any, ...]

    def level_for(self, pixels: float) -> Any:
        """The picture to sample for a flower ``pixels`` wide."""
        level = 0
        while level + 1 < len(self.levels) and self.levels[level].shape[0] > 2.6 * pixels:
            level += 1
        return self.levels[level]


def rounded(points: Points) -> Points:
    """A closed outline with its corners cut (Chaikin 1974)."""
    after = np.roll(points, -1, axis=0)
    cut = np.empty((2 * len(points), 2))
    cut[0::2], cut[1::2] = 0.8 * points + 0.2 * after, 0.2 * points + 0.8 * after
    return cut


@lru_cache(maxsize=400)
def sprite_of(form: FlowerForm, variant: int) -> Sprite:
    """Paint a flower of this form; the same for the same form and variant."""
    large = SIDE * 2
    picture, covered = np.zeros((large, large, 3), np.uint8), np.zeros((large, large), np.uint8)
    scale = large / 2 / REACH
    for part in flower_parts(form, variant):
        points = part.points * scale + large / 2
        if part.width:
            ends = np.full(len(points), max(1.3, part.width * scale))
            shape = brush.ribbon(points, ends)
            brush.fill(picture, shape, part.colour)
            brush.fill(covered, shape, (255,))
            continue
        points = rounded(rounded(points))
        brush.fill(covered, points, (255,))
        brush.fill(picture, points, lit(part.colour, 0.76))
        middle = points.mean(axis=0)
        span = float(np.abs(points - middle).max())
        brush.fill(picture, middle + (points - middle) * (1 - min(0.25, 2.2 / max(span, 1))) - 0.4, part.colour)
    chance = noise_dice(variant, "sprite", form)
    light = 1 + 0.07 * brush.cloud(chance, large, large, 40, 2) + 0.05 * brush.cloud(chance, large, large, 5, 2)
    # Painted on black, so the edges are already weighted by coverage.
    shaded = np.clip(picture * light[..., None], 0, 255).astype(np.uint8)
    whole = brush.soften(np.dstack([shaded, covered]), 0.9)
    levels = [brush.scaled(whole, SIDE, SIDE)]
    for _ in range(3):
        levels.append(brush.scaled(levels[-1], levels[-1].shape[1] // 2, levels[-1].shape[0] // 2))
    return Sprite(tuple(levels))
