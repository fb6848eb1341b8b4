"""What the plant grows on: soil, mulch, gravel and paving as tiles from procedural noise."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any, Literal

import numpy as np

from training.drawn import brush
from training.drawn.brush import Picture
from training.drawn.chance import noise_dice
from training.drawn.turf import LAWNS, paint_turf

Ground = Literal["turf", "soil", "mulch", "gravel", "paving"]
GROUNDS: tuple[Ground, ...] = ("turf", "soil", "mulch", "gravel", "paving")
SIZE = 640  # px of a tile
# Tiles of one kind and scale; they are also turned and mirrored. Of turf, one a kind of lawn.
VARIANTS: Mapping[Ground, int] = {"turf": len(LAWNS), "soil": 3, "mulch": 3, "gravel": 3, "paving": 3}
Dice = np.random.Generator


@lru_cache(maxsize=110)
def ground_tile(kind: Ground, octave: int, variant: int) -> Picture:
    """A tile uint8 (SIZE, SIZE, 3); one px is ``mm_a_px(octave)`` mm. Always the same for the same arguments."""
    chance = noise_dice(variant, "ground", kind, octave)
    scale = 1 / mm_a_px(octave)
    tile = _PAINTERS[kind](chance, scale) if kind != "turf" else paint_turf(chance, scale, SIZE, variant)
    broad = 1 + 0.10 * brush.cloud(chance, SIZE, SIZE, SIZE / 3, 2)
    return np.clip(tile.astype(np.float32) * broad[..., None], 0, 255).astype(np.uint8)


def mm_a_px(octave: int) -> float:
    """Scale of a tile: octave 0 is for pictures 60 mm across, each next one for twice as much.

    >>> mm_a_px(1) == 2 * mm_a_px(0)
    True
    """
    return float(60 * 1.7 / SIZE * 2**octave)


def octave_for(across: float) -> int:
    """The octave whose tiles suit a picture ``across`` mm wide."""
    return int(np.clip(np.ceil(np.log2(max(across, 1.0) / 60)), 0, 5))


def _relief(height: Any, depth: float, chance: Dice) -> Any:
    """Light on a rough surface from a slanting sun, about 1."""
    dx, dy = brush.slopes(height.astype(np.float32))
    turn = chance.uniform(0, 6.3)
    return np.clip(1 + depth * (np.cos(turn) * dx + np.sin(turn) * dy), 0.25, 2.0)


def _soil(chance: Dice, scale: float) -> Picture:
    base = np.array(
        [(128, 106, 86), (150, 128, 102), (104, 90, 76), (166, 142, 114), (136, 100, 76)][int(chance.integers(5))]
    )
    clod = brush.cloud(chance, SIZE, SIZE, max(8.0, chance.uniform(20, 60) * scale), 5)
    crumb = brush.cloud(chance, SIZE, SIZE, max(2.0, 3 * scale), 3)
    light = _relief(np.maximum(clod, -0.3) + 0.7 * np.abs(crumb) + 0.3 * crumb, chance.uniform(0.12, 0.3), chance)
    tone = 1 + 0.12 * clod + 0.13 * crumb
    picture = np.clip(base * (tone * light)[..., None], 0, 255).astype(np.uint8)
    for _ in range(int(chance.integers(20, 160))):  # stones and crumbs
        _stone(picture, chance, chance.uniform(0.4, 3.2) * scale, base * chance.uniform(0.7, 1.5))
    _litter(picture, chance, scale, 12)
    return brush.soften(picture, 0.7)  # type: ignore[no-any-return]


# Parts of a lit stone from its rim to its brightest spot: size and brightness.
_FACES = ((1.0, 0.85), (0.84, 0.95), (0.62, 1.03), (0.34, 1.09))
_TURN = np.linspace(0, 2 * np.pi, 11, endpoint=False)


def _stone(picture: Picture, chance: Dice, radius: float, tone: Any) -> None:
    """One lit stone with the dark below it."""
    if radius < 0.7:
        return
    centre = chance.uniform(0, SIZE, 2)
    turn = _TURN + chance.uniform(0, 6.3)
    reach = radius * (1 + chance.normal(0, 0.13, 11))
    squash = chance.uniform(0.6, 1.0)
    shape = np.stack([reach * np.cos(turn), reach * squash * np.sin(turn)], axis=1)
    dark: Any = tuple((tone * 0.42).tolist())
    brush.fill(picture, centre + shape * 1.03 + radius * 0.12, dark)
    for part, light in _FACES if radius > 4 else _FACES[::2]:
        colour: Any = tuple(np.clip(tone * light, 0, 255).tolist())
        brush.fill(picture, centre - radius * 0.16 * (1 - part) + shape * part, colour)


def _gravel(chance: Dice, scale: float) -> Picture:
    kinds = [
        [(150, 148, 146), (118, 118, 122), (176, 172, 166), (96, 98, 104)],
        [(164, 134, 106), (190, 160, 130), (138, 104, 84), (206, 190, 168), (120, 108, 100)],
        [(196, 188, 176), (170, 160, 148), (214, 208, 200)],
    ][int(chance.integers(3))]
    picture = np.full((SIZE, SIZE, 3), (82, 74, 66), np.uint8)
    size = chance.choice([3.0, 6.0, 10.0]) * scale
    number = int(min(5200, 2.6 * (SIZE / max(size, 1.6)) ** 2 / 2))
    for _ in range(number):
        tone = np.array(kinds[int(chance.integers(len(kinds)))]) * chance.uniform(0.72, 1.15)
        _stone(picture, chance, max(0.9, size * chance.uniform(0.4, 1.1)), tone)
    grain = 1 + 0.10 * brush.cloud(chance, SIZE, SIZE, 4, 2)
    picture = np.clip(picture * grain[..., None], 0, 255).astype(np.uint8)
    _litter(picture, chance, scale, 8)
    return brush.soften(picture, 0.6)  # type: ignore[no-any-return]


def _mulch(chance: Dice, scale: float) -> Picture:
    base = np.array([(122, 96, 76), (100, 82, 70), (140, 112, 88), (112, 80, 62)][int(chance.integers(4))])
    picture = np.full((SIZE, SIZE, 3), (46, 34, 26), np.uint8)
    long, wide = 24 * scale, 7 * scale
    number = int(min(6000, 2.4 * SIZE * SIZE / max(long * wide, 6)))
    for _ in range(number):
        centre, turn = chance.uniform(-20, SIZE + 20, 2), chance.uniform(0, np.pi)
        half, thick = long * chance.uniform(0.25, 0.75), wide * chance.uniform(0.25, 0.7)
        way, side = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
        corners = [(-1, -0.7), (-0.9, 0.8), (0.1, 1.0), (0.95, 0.6), (1.05, -0.5), (0, -0.95)]
        jitter = chance.normal(0, 0.1, (6, 2))
        shape = np.stack(
            [
                centre + way * half * (a + j[0]) + side * thick * (b + j[1])
                for (a, b), j in zip(corners, jitter, strict=True)
            ]
        )
        tone = base * chance.uniform(0.5, 1.45) * chance.normal(1, 0.05, 3)
        brush.fill(picture, shape + max(1.0, 0.12 * thick), (34, 25, 18))
        brush.fill(picture, shape, tuple(np.clip(tone, 0, 255).tolist()))
        if thick > 2.2:
            for _ in range(3):
                off = side * thick * chance.uniform(-0.7, 0.7)
                brush.line(
                    picture,
                    np.stack([centre - way * half * 0.8 + off, centre + way * half * 0.8 + off]),
                    tuple(np.clip(tone * chance.uniform(0.65, 1.2), 0, 255).tolist()),
                    1,
                )
    grain = 1 + 0.1 * brush.cloud(chance, SIZE, SIZE, 6, 3)
    return brush.soften(np.clip(picture * grain[..., None], 0, 255).astype(np.uint8), 0.7)  # type: ignore[no-any-return]


def _paving(chance: Dice, scale: float) -> Picture:
    base = np.array(
        [(172, 166, 156), (150, 148, 146), (186, 168, 148), (160, 120, 100), (128, 126, 126)][int(chance.integers(5))]
    )
    patch = brush.cloud(chance, SIZE, SIZE, 60 * scale + 8, 4)
    grain = brush.cloud(chance, SIZE, SIZE, max(2.0, 1.2 * scale), 2)
    picture = np.clip(base * (1 + 0.07 * patch + 0.08 * grain)[..., None], 0, 255).astype(np.uint8)
    slab = chance.choice([100.0, 220.0, 400.0]) * scale
    wide = max(2.0, chance.uniform(4, 14) * scale)
    start, row = chance.uniform(0, slab), 0
    mask = np.zeros((SIZE, SIZE), np.uint8)
    y = start - slab
    while y < SIZE + slab:
        brush.line(mask, np.array([[0, y], [SIZE, y + chance.normal(0, 1)]]), (255,), wide)
        shift = start + (slab if row % 2 else 0)
        for x in np.arange(shift - 4 * slab, SIZE + slab, 2 * slab):
            brush.line(mask, np.array([[x, y], [x, y + slab]]), (255,), wide)
        y, row = y + slab, row + 1
    joint = np.clip(brush.soften(mask, 1.0 + 0.1 * wide).astype(np.float32) / 255 + 0.25 * patch * (mask > 0), 0, 1)[
        ..., None
    ]
    dirt = np.array([(74, 64, 50), (66, 76, 44), (92, 84, 70)][int(chance.integers(3))])
    crumbs = dirt * (1 + 0.3 * brush.cloud(chance, SIZE, SIZE, max(2.0, 2 * scale), 3))[..., None]
    whole = picture * (1 - joint) + crumbs * joint
    picture = np.clip(whole, 0, 255).astype(np.uint8)
    _litter(picture, chance, scale, 10)
    return np.asarray(picture)


def _litter(picture: Picture, chance: Dice, scale: float, most: int) -> None:
    """Twigs, straw and fallen leaves."""
    for _ in range(int(chance.integers(0, most))):
        centre, turn, long = chance.uniform(0, SIZE, 2), chance.uniform(0, 6.3), chance.uniform(8, 40) * scale
        way = np.array([np.cos(turn), np.sin(turn)])
        bow = np.array([-way[1], way[0]]) * chance.normal(0, 0.12) * long
        points = np.stack([centre, centre + way * long / 2 + bow, centre + way * long])
        tone = np.array([(168, 146, 100), (110, 84, 60), (140, 112, 76)][int(chance.integers(3))]) * chance.uniform(
            0.7, 1.2
        )
        widths = np.full(3, max(1.0, chance.uniform(0.6, 1.8) * scale))
        brush.fill(picture, brush.ribbon(points + np.array([1.0, 1.5]), widths * 1.3), (34, 28, 20))
        brush.fill(picture, brush.ribbon(points, widths), tuple(np.clip(tone, 0, 255).tolist()))


_PAINTERS: Mapping[str, Callable[[Dice, float], Picture]] = {
    "soil": _soil,
    "mulch": _mulch,
    "gravel": _gravel,
    "paving": _paving,
}
