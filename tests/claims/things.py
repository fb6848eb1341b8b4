"""Pictures of what is no plant, drawn by our own code from a seed: to see whether a model knows that it does not know.

Bare ground, brick, cloth, print, sky, skin and tools: what gets in front of a phone by mistake. They
are drawings, and easier to tell from plants than the photos that people will send.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from training.drawn import brush
from training.drawn.ground import bare_ground

Pixels = NDArray[np.uint8]
Dice = np.random.Generator
SIDE = 320  # px
WORDS = ["lorem", "unda", "petra", "via", "domus", "nox", "aqua", "terra", "manus", "0123456789", "45", "mm", "12:30"]


def draw_thing(seed: int) -> Pixels:
    """One picture uint8 (SIDE, SIDE, 3), the same for the same seed; kinds take turns."""
    chance = np.random.default_rng([seed, 71])
    picture: Any = _KINDS[seed % len(_KINDS)](chance).astype(np.float32)
    # As through a lens: uneven light, softness, noise.
    light = 1 + 0.12 * brush.cloud(chance, SIDE, SIDE, SIDE / 2, 2)[..., None]
    picture = cv2.GaussianBlur(picture * light, (0, 0), float(chance.uniform(0.3, 1.6)))
    picture += chance.normal(0, float(chance.uniform(1, 6)), picture.shape)
    return np.asarray(np.clip(picture, 0, 255), np.uint8)


def _plain(colour: Any) -> Any:
    return np.full((SIDE, SIDE, 3), colour, np.float32)


def _colour(chance: Dice, low: int = 20, high: int = 235) -> tuple[int, int, int]:
    red, green, blue = (int(value) for value in chance.integers(low, high, 3))
    return red, green, blue


def _bare(chance: Dice) -> Any:
    """Ground that nothing grows on."""
    kind: Any = ("soil", "gravel")[int(chance.integers(2))]
    return bare_ground(kind, SIDE, float(chance.uniform(0.6, 6)), chance)


def _bricks(chance: Dice) -> Any:
    picture, high = _plain(_colour(chance, 120, 200)), int(chance.integers(18, 60))
    wide, tone = high * 3, np.array([150, 70, 50]) if chance.random() < 0.6 else np.array(_colour(chance))
    for row in range(-1, SIDE // high + 2):
        for column in range(-1, SIDE // wide + 2):
            left, top = column * wide + (row % 2) * wide // 2, row * high
            shade = [float(v) for v in tone * chance.uniform(0.75, 1.2)]
            cv2.rectangle(picture, (left + 2, top + 2), (left + wide - 3, top + high - 3), shade, -1)
    return picture * (1 + 0.1 * brush.cloud(chance, SIDE, SIDE, 6, 2)[..., None])


def _cloth(chance: Dice) -> Any:
    y, x = np.mgrid[:SIDE, :SIDE] / float(chance.uniform(6, 40))
    folds = 3 * brush.cloud(chance, SIDE, SIDE, SIDE / 3, 2)
    weave = (np.sin(x * 3 + folds) > 0.3).astype(float) + (np.sin(y * 3 + folds) > 0.3) * (chance.random() < 0.6)
    first, second = np.array(_colour(chance)), np.array(_colour(chance))
    return first + (second - first) * np.clip(weave, 0, 1)[..., None] + 25 * folds[..., None]


def _print(chance: Dice) -> Any:
    picture, ink = _plain(_colour(chance, 190, 256)).astype(np.uint8), _colour(chance, 0, 90)
    size, line = float(chance.uniform(0.4, 1.4)), 4
    while line < SIDE:
        text = " ".join(chance.choice(WORDS, 8))
        line += int(30 * size)
        cv2.putText(picture, text, (6, line), cv2.FONT_HERSHEY_SIMPLEX, size, ink, 1 + int(size > 0.8), cv2.LINE_AA)
    return picture


def _sky(chance: Dice) -> Any:
    down = np.linspace(0, 1, SIDE)[:, None, None]
    blue = np.array([70, 130, 210]) * (1 - down) + np.array([190, 215, 240]) * down + np.zeros((1, SIDE, 1))
    cloud = np.clip(brush.cloud(chance, SIDE, SIDE, float(chance.uniform(60, 150)), 4) + 0.2, 0, 1)[..., None]
    picture = blue * (1 - cloud) + 245 * cloud
    for _ in range(int(chance.integers(0, 4))):  # roofs and poles
        x, y = (int(v) for v in chance.integers(0, SIDE, 2))
        cv2.rectangle(picture, (x, y), (x + int(chance.integers(4, 160)), SIDE), _colour(chance, 40, 180), -1)
    return picture


def _skin(chance: Dice) -> Any:
    """A finger before the lens: large, soft and warm."""
    picture = _bare(chance).astype(np.float32) if chance.random() < 0.5 else _plain(_colour(chance))
    tone = np.array([224, 172, 140]) * float(chance.uniform(0.4, 1.05))
    centre = tuple(int(v) for v in chance.integers(60, SIDE - 60, 2))
    mask: Any = np.zeros((SIDE, SIDE), np.float32)
    cv2.ellipse(mask, centre, (int(chance.integers(50, 110)), 200), float(chance.uniform(0, 180)), 0, 360, 1.0, -1)
    mask = cv2.GaussianBlur(mask, (0, 0), float(chance.uniform(2, 12)))[..., None]
    lit = tone * (1 + 0.06 * brush.cloud(chance, SIDE, SIDE, 10, 3)[..., None])
    return picture * (1 - mask) + lit * mask


def _tools(chance: Dice) -> Any:
    """Straight-edged coloured things lying on the ground or on a bench."""
    picture = _bare(chance).astype(np.float32) if chance.random() < 0.5 else _plain(_colour(chance))
    for _ in range(int(chance.integers(2, 7))):
        centre, size = chance.integers(20, SIDE - 20, 2), chance.integers(12, 160, 2)
        place, spans = (float(centre[0]), float(centre[1])), (float(size[0]), float(size[1]))
        box = cv2.boxPoints((place, spans, float(360 * chance.random())))
        shade = _colour(chance)
        if chance.random() < 0.35:
            cv2.circle(picture, (int(centre[0]), int(centre[1])), int(size[0]) // 2 + 4, shade, -1, cv2.LINE_AA)
        else:
            cv2.fillPoly(picture, [box.astype(np.int32)], shade, cv2.LINE_AA)
            cv2.polylines(picture, [box.astype(np.int32)], True, tuple(c // 2 for c in shade), 2, cv2.LINE_AA)
    return picture


_KINDS: tuple[Callable[[Dice], Any], ...] = (_bare, _bricks, _cloth, _print, _sky, _skin, _tools)
