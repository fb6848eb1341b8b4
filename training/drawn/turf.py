"""Turf, blade by blade, as a tile; and loose blades that stand in front of a plant."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from typing import Any

import numpy as np

from training.drawn import brush
from training.drawn.brush import Picture
from training.drawn.colour import DEAD, Rgb, lit, mixed, varied
from training.drawn.leaf import VARIANTS, LeafForm, stepped
from training.drawn.organ import Leaves, Plant, plant_of


@dataclass(frozen=True)
class Lawn:
    """A lawn grass: blade width and length when mown (mm), and colour."""

    width: float
    length: float
    colour: Rgb


# Common lawns, from memory.
LAWNS: tuple[Lawn, ...] = (
    Lawn(1.8, 26, (122, 142, 82)),  # couch
    Lawn(3.4, 42, (130, 154, 76)),  # kikuyu
    Lawn(5.0, 40, (112, 140, 76)),  # buffalo
    Lawn(2.6, 46, (100, 130, 70)),  # fescue, ryegrass
    Lawn(1.4, 30, (126, 148, 88)),  # fine mixed turf
    Lawn(2.4, 34, (162, 154, 98)),  # dry
)


def paint_turf(chance: np.random.Generator, scale: float, size: int, kind: int) -> Picture:
    """A tile of the lawn with this number; ``scale`` px a mm."""
    lawn = LAWNS[kind % len(LAWNS)]
    wide, long = lawn.width * scale, lawn.length * scale
    earth = np.array([(62, 56, 34), (84, 72, 48), (96, 88, 54), (46, 52, 26)][int(chance.integers(4))])
    rough = brush.cloud(chance, size, size, max(3.0, 5 * scale), 4)
    picture = np.clip(earth * (1 + 0.35 * rough)[..., None], 0, 255).astype(np.uint8)
    visible = max(1.0, wide) * max(5.0, long) * 0.55
    number = int(min(11000, 2.3 * size * size / visible))
    dry = float(chance.uniform(0.04, 0.3)) * (1 if chance.random() < 0.75 else 1.9)
    lean = chance.uniform(0, 6.3)
    layers = 4
    for layer in range(layers):
        depth = 0.5 + 0.5 * layer / (layers - 1)
        blades = Lawn(wide, long, lawn.colour)
        _layer(picture, chance, number // layers, blades, depth, dry * (1.4 - 0.6 * layer / 3), float(lean))
        if layer < layers - 1:
            picture = np.asarray(brush.soften(picture, 0.5 + 0.22 * wide * (1 - layer / 3)))
    if chance.random() < 0.4:
        _fallen_leaves(picture, chance, scale)
    return np.asarray(brush.soften(picture, 0.55))


def _layer(
    picture: Picture, chance: np.random.Generator, number: int, lawn: Lawn, depth: float, dry: float, lean: float
) -> None:
    """Blades of one height: seen from above, each rises towards the viewer and bends over.

    ``lawn`` in px here; ``depth`` 0..1 from the ground up, ``dry``: share of dead blades, ``lean`` (rad).
    """
    size, wide, long = picture.shape[0], lawn.width, lawn.length
    foot = chance.uniform(-0.1 * size, 1.1 * size, (number, 2))
    turn = lean + chance.normal(0, 1.5, number)
    reach = np.maximum(3.0, long * chance.uniform(0.25, 1.05, number))
    way = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    side = np.stack([-way[:, 1], way[:, 0]], axis=1)
    bow = (chance.normal(0, 0.16, number) * reach)[:, None] * side
    half = (np.maximum(wide, 1.0) * chance.uniform(0.6, 1.15, number))[:, None] * side / 2
    mown = chance.random(number) < 0.45
    end = np.where(mown, 0.75, 0.06)[:, None]
    t = (0.0, 0.3, 0.6, 0.85, 1.0) if wide > 2.6 else (0.0, 0.55, 1.0)
    rib = [foot + way * reach[:, None] * at + bow * (4 * at - 3 * at * at) for at in t]
    halves = [half * min(1.0, 0.8 + at) * (1 - (1 - end) * at**3) for at in t]
    one, other = [r + h for r, h in zip(rib, halves, strict=True)], [r - h for r, h in zip(rib, halves, strict=True)]
    whole = brush.fixed(np.stack(one + other[::-1], axis=1))
    lower = brush.fixed(np.stack(one[:-1] + other[-2::-1], axis=1))
    rim = whole + brush.fixed(np.array([[0.5 + 0.1 * wide, 0.8 + 0.16 * wide]]))
    split = brush.fixed(np.stack(rib + other[::-1], axis=1))
    dead = chance.random(number) < dry
    light = depth * chance.normal(1.0, 0.12, number)
    base = (
        np.where(dead[:, None], np.array(DEAD), np.array(lawn.colour))
        * chance.normal(1.0, 0.07, (number, 3))
        * light[:, None]
    )
    base[:, 0] *= chance.normal(1.0, 0.09, number)
    base = np.clip(base, 0, 250)
    broad = wide > 2.6
    for i in range(number):
        colour: Any = tuple(base[i].tolist())
        if wide > 1.2:
            brush.fill(picture, rim[i], lit(colour, 0.5))
        brush.fill(picture, whole[i], lit(colour, 1.1))
        brush.fill(picture, lower[i], lit(colour, 0.94))
        if broad:
            brush.fill(picture, split[i], lit(colour, 0.86))


def _fallen_leaves(picture: Picture, chance: np.random.Generator, scale: float) -> None:
    size = picture.shape[0]
    for _ in range(int(chance.integers(1, 5))):
        centre, turn = chance.uniform(0, size, 2), chance.uniform(0, 6.3)
        long, wide = chance.uniform(15, 45) * scale, chance.uniform(6, 16) * scale
        t = np.linspace(0, 1, 12)
        edge = np.sin(np.pi * t) ** 0.8 * wide / 2 * (1 + chance.normal(0, 0.06, 12))
        shape = np.concatenate([np.stack([t * long, edge], 1), np.stack([t * long, -edge], 1)[::-1]])
        c, s = np.cos(turn), np.sin(turn)
        shape = shape @ np.array([[c, s], [-s, c]]) + centre
        tone = np.array([(150, 108, 66), (176, 142, 86), (116, 76, 48)][int(chance.integers(3))]) * chance.uniform(
            0.8, 1.15
        )
        brush.fill(picture, shape + np.array([1.2, 2.0]), (36, 32, 20))
        brush.fill(picture, shape, tuple(tone.tolist()))
        rib = np.array([[0, 0], [long, 0]]) @ np.array([[c, s], [-s, c]]) + centre
        brush.line(picture, rib, tuple((tone * 0.75).tolist()), max(1.0, 0.6 * scale))


def lawn_of(kind: int, dice: random.Random, mown: bool) -> Lawn:
    """The lawn with this number; unmown grass is twice as long."""
    lawn = LAWNS[kind % len(LAWNS)]
    length = lawn.length * (1.0 if mown else dice.uniform(1.6, 2.8))
    return Lawn(lawn.width, length, varied(lawn.colour, dice, 0.06, 0.02))


def standing_blades(lawn: Lawn, number: int, extent: float, clear: float, dice: random.Random) -> Plant:
    """Blades over a square of ``extent`` mm half side; fewer within ``clear`` mm of the middle."""
    form = LeafForm("linear", ratio=stepped(lawn.width / lawn.length), veins="parallel")
    old, rows = mixed(DEAD, lawn.colour, 0.2), dict[Rgb, list[tuple[float, ...]]]()
    for _ in range(number):
        x, y = dice.uniform(-extent, extent), dice.uniform(-extent, extent)
        if math.hypot(x, y) < clear and dice.random() < 0.85:
            continue
        turn, rise, long = dice.uniform(0, 6.3), dice.uniform(0.15, 1.2), lawn.length * dice.uniform(0.4, 1.15)
        droop, roll, fold = dice.uniform(0.1, 1.3), dice.gauss(0, 0.3), dice.uniform(0.05, 0.5)
        width, tone, variant = dice.uniform(0.7, 1.2), dice.gauss(1.0, 0.12), float(dice.randrange(VARIANTS))
        row = (x, y, 0.0, turn, rise, long, droop, roll, fold, width, tone, 0.0, variant)
        rows.setdefault(lawn.colour if dice.random() > 0.12 else old, []).append(row)
    return plant_of(tuple(Leaves(form, tone, np.array(some)) for tone, some in rows.items()))
