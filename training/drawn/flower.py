"""Flowers as coloured shapes: petals, lips, cups. Unit frame: the flower's edge at radius 1, y down.

From the side, the flower's foot is at (0, 1) and it opens upwards. Heads of the daisy family,
pea flowers and fruits have modules of their own.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from training.drawn.colour import Rgb, lit, mixed, varied

Points = NDArray[np.float64]
GREEN: Rgb = (104, 142, 66)
POLLEN: Rgb = (224, 192, 66)
GOLDEN_ANGLE = math.pi * (3 - math.sqrt(5))


@dataclass(frozen=True)
class FlowerForm:
    """Everything that the painted flower, head or fruit depends on.

    ``kind`` names its painter; ``view`` is top or side; ``count`` petals, rays or parts;
    ``ratio`` petal width over length; ``disc`` size of the middle or length of petals against
    sepals.
    """

    kind: str
    colour: Rgb
    second: Rgb = (220, 180, 60)
    view: str = "top"
    count: int = 5
    ratio: float = 0.6
    disc: float = 0.3
    notch: str = "none"
    stripe: Rgb | None = None


@dataclass(frozen=True)
class Part:
    """One shape: filled when ``width`` is 0, else an open line of that width (in radii)."""

    points: Points = field(repr=False)
    colour: Rgb
    width: float = 0.0


def spun(points: Points, turn: float, centre: tuple[float, float] = (0.0, 0.0)) -> Points:
    """Points turned about the origin, then moved."""
    c, s = math.cos(turn), math.sin(turn)
    return np.asarray(points @ np.array([[c, s], [-s, c]]) + np.array(centre))


def petal(start: float, end: float, width: float, notch: str = "none", tip: str = "round") -> Points:
    """One petal along +x, from ``start`` to ``end``, ``width`` at its widest."""
    long = end - start
    if notch == "shallow":
        x = [0, 0.25, 0.55, 0.8, 0.96, 1.0, 0.97, 0.9]
        y = [0.14, 0.45, 0.85, 1.0, 0.8, 0.5, 0.2, 0.0]
    elif tip == "strap":
        x = [0, 0.3, 0.7, 0.95, 1.0, 0.97]
        y = [0.55, 0.85, 1.0, 0.9, 0.5, 0.0]
    elif tip == "point":
        x = [0, 0.2, 0.5, 0.8, 1.0]
        y = [0.35, 0.8, 1.0, 0.55, 0.0]
    else:
        x = [0, 0.2, 0.45, 0.7, 0.88, 0.97, 1.0]
        y = [0.2, 0.55, 0.88, 1.0, 0.8, 0.42, 0.0]
    side = np.stack([start + long * np.array(x), np.array(y) * width / 2], axis=1)
    return np.concatenate([side, (side * [1, -1])[::-1]])


def disc_of(centre: tuple[float, float], radius: float, squash: float = 1.0) -> Points:
    """A circle or an ellipse as points."""
    turn = np.linspace(0, 2 * np.pi, 18, endpoint=False)
    return np.stack([centre[0] + radius * np.cos(turn), centre[1] + radius * squash * np.sin(turn)], axis=1)


def petals_from_top(form: FlowerForm, dice: random.Random) -> list[Part]:
    """Three to six petals, sepals behind them, stamens in the middle."""
    parts, count, first = [], form.count, dice.uniform(0, 6)
    sepal = 1.0 if form.disc < 1 else 0.82 / form.disc
    for k in range(count if form.count != 6 else 0):
        shape = petal(0, sepal * dice.uniform(0.9, 1.0), 0.3, tip="point")
        parts.append(Part(spun(shape, first + (k + 0.5) * 2 * math.pi / count), varied(GREEN, dice, 0.08, 0.03)))
    reach = min(1.0, form.disc)
    order = list(range(count))
    dice.shuffle(order)
    for k in order:
        turn = first + k * 2 * math.pi / count + dice.gauss(0, 0.05)
        end, wide = reach * dice.uniform(0.92, 1.0), reach * form.ratio * dice.uniform(0.92, 1.08)
        base = varied(form.colour, dice, 0.035, 0.012)
        if form.notch == "deep":
            for side in (-1, 1):
                shape = petal(0.06, end, wide * 0.42)
                parts.append(Part(spun(shape, turn + side * 0.17), base))
        else:
            parts.append(Part(spun(petal(0.04, end, wide, form.notch), turn), base))
        veins = 1 if form.notch == "deep" else 5
        ink = form.stripe or lit(base, 0.86)
        for j in range(veins):
            off = (j - (veins - 1) / 2) * 0.11 * form.ratio / 0.6
            vein = np.array([[0.12, off * 0.3], [end * 0.55, off], [end * 0.86, off * 1.25]])
            parts.append(Part(spun(vein, turn), ink, 0.03 if form.stripe else 0.018))
    parts.append(Part(disc_of((0, 0), 0.17), form.second))
    for k in range(count * 2 if count > 4 else count):
        turn, out = first + k * math.pi / count + dice.gauss(0, 0.1), dice.uniform(0.2, 0.34)
        tip = (out * math.cos(turn), out * math.sin(turn))
        parts.append(Part(np.array([[0, 0], tip]), lit(form.second, 1.12), 0.025))
        parts.append(Part(disc_of(tip, 0.045), POLLEN))
    return parts


def petals_from_side(form: FlowerForm, dice: random.Random) -> list[Part]:
    """The same flower from the side: an open funnel in its green cup."""
    parts: list[Part] = []
    long = 1.25 if form.count != 6 else 1.7
    shown = max(3, form.count - 1)
    for k in range(shown):
        spread = (k - (shown - 1) / 2) / max(1, shown - 1) * dice.uniform(1.5, 2.1)
        shape = petal(
            0, long * (1 - 0.12 * abs(spread)), form.ratio * 1.0, form.notch if form.notch != "deep" else "none"
        )
        tone = lit(varied(form.colour, dice, 0.04, 0.01), 1.0 - 0.07 * abs(spread))
        parts.append(Part(spun(shape, -math.pi / 2 + spread * 0.55, (0, 0.75)), tone))
        vein = np.array([[0.1, 0.0], [long * 0.8, 0.0]])
        parts.append(Part(spun(vein, -math.pi / 2 + spread * 0.55, (0, 0.75)), form.stripe or lit(tone, 0.86), 0.03))
    if form.count != 6:
        for spread in (-0.5, 0.0, 0.5):
            shape = spun(petal(0, 0.62 / max(0.6, form.disc), 0.3, tip="point"), -math.pi / 2 + spread, (0, 0.92))
            parts.append(Part(shape, varied(GREEN, dice, 0.08, 0.03)))
    return parts


def lipped(form: FlowerForm, dice: random.Random) -> list[Part]:
    """A hooded flower on a long tube, from the side: hood above, spotted lip in front."""
    c = form.colour
    tube = np.array([[-0.1, 1.0], [-0.13, 0.1], [-0.28, -0.2], [0.26, -0.2], [0.13, 0.1], [0.1, 1.0]])
    hood = np.array(
        [[-0.3, -0.1], [-0.38, -0.55], [-0.18, -0.95], [0.1, -1.0], [0.28, -0.8], [0.2, -0.4], [0.1, -0.15]]
    )
    lip = np.array(
        [[0.0, -0.15], [0.3, -0.3], [0.72, -0.2], [0.8, 0.05], [0.55, 0.1], [0.6, 0.32], [0.3, 0.3], [0.1, 0.05]]
    )
    cup = np.array([[-0.2, 1.0], [-0.24, 0.62], [-0.1, 0.7], [0.0, 0.55], [0.1, 0.7], [0.24, 0.62], [0.2, 1.0]])
    parts = [
        Part(tube, lit(c, 0.86)),
        Part(hood, c),
        Part(hood * 0.45 + [-0.08, -0.36], lit(c, 1.07)),
        Part(lip, lit(c, 1.08)),
    ]
    for _ in range(6):
        at = (dice.uniform(0.2, 0.65), dice.uniform(-0.15, 0.2))
        parts.append(Part(disc_of(at, 0.035), lit(c, 0.6)))
    return [Part(part.points * [0.72, 1.0], part.colour) for part in (*parts, Part(cup, GREEN))]


def tubular(form: FlowerForm, dice: random.Random) -> list[Part]:
    """A narrow spurred tube with a dark tip, lying on its side."""
    body = np.array(
        [[-0.95, -0.1], [-0.8, -0.26], [-0.3, -0.24], [0.5, -0.2], [0.98, -0.05], [0.98, 0.12], [0.4, 0.2], [-0.7, 0.2]]
    )
    tip = np.array([[0.6, -0.18], [1.0, -0.06], [1.0, 0.14], [0.62, 0.16]])
    cup = np.array([[-0.3, 0.24], [-0.15, 0.02], [0.05, 0.22]])
    streak = np.array([[-0.7, -0.06], [0.5, -0.02]])
    dark = mixed(lit(form.colour, 0.45), (70, 20, 60), 0.5)
    return [
        Part(body, varied(form.colour, dice, 0.04, 0.02)),
        Part(streak, lit(form.colour, 0.86), 0.08),
        Part(tip, dark),
        Part(cup, GREEN),
    ]


def tiny(form: FlowerForm, dice: random.Random) -> list[Part]:
    """A knot of minute green perianths."""
    parts = []
    for k in range(max(5, form.count)):
        out = 0.75 * math.sqrt(k / max(5, form.count))
        at = (out * math.cos(k * GOLDEN_ANGLE), out * math.sin(k * GOLDEN_ANGLE))
        tone = varied(form.colour, dice, 0.12, 0.03)
        parts.append(Part(disc_of(at, 0.3), lit(tone, 0.75)))
        parts.append(Part(disc_of((at[0] - 0.05, at[1] - 0.05), 0.22), tone))
        if dice.random() < 0.5:
            parts.append(Part(disc_of((at[0], at[1] - 0.1), 0.06), lit(form.second, 1.15)))
    return parts


def spurge_cup(form: FlowerForm, dice: random.Random) -> list[Part]:
    """A cup with a stalked round capsule and yellow glands, as in spurges."""
    parts = [
        Part(disc_of((0, 0.1), 0.5), lit(GREEN, 1.15)),
        Part(disc_of((0.08, 0.3), 0.42), mixed(GREEN, form.colour, 0.5)),
    ]
    for turn in (0.3, 1.4, 2.6, 3.8):
        horn = petal(0.3, 0.72, 0.3) + np.array([0.0, 0.0])
        parts.append(Part(spun(horn, turn + dice.gauss(0, 0.1)), (206, 196, 84)))
    for side in (-0.2, 0.2, 0.0):
        parts.append(Part(disc_of((side, -0.25), 0.3, 1.1), varied(GREEN, dice, 0.1, 0.02)))
    return parts


def bud(form: FlowerForm, dice: random.Random) -> list[Part]:
    """A closed bud: green, with a point of the flower's colour."""
    parts = [Part(spun(petal(0, 1.9, 1.1), -math.pi / 2, (0, 1)), form.colour)]
    for turn in (-0.35, 0.35, 0.0):
        shape = spun(petal(0, 1.5, 0.85, tip="point"), -math.pi / 2 + turn, (0, 1))
        parts.append(Part(shape, varied(GREEN, dice, 0.1, 0.03)))
    return parts
