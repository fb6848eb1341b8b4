"""Flowers as coloured shapes: petals, lips, cups. Unit frame: the flower's edge at radius 1, y down.

From the side, the flower's foot is at (0, 1) and it opens upwards. Heads of the daisy family,
pea flowers and fruits have modules of their own.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from training.drawn.colour import Rgb, lit, mixed, varied

Points = NDArray[np.float64]
At = Sequence[float] | Points
GREEN: Rgb = (104, 142, 66)
POLLEN: Rgb = (224, 192, 66)
GOLDEN_ANGLE = math.pi * (3 - math.sqrt(5))
UP = -math.pi / 2  # the turn of what points up


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


class Sketch:
    """The shapes of one flower, back to front."""

    def __init__(self) -> None:
        self.parts: list[Part] = []

    def fill(self, points: Points, colour: Rgb) -> None:
        """A filled shape."""
        self.parts.append(Part(points, colour))

    def disc(self, centre: At, radius: float, colour: Rgb, squash: float = 1.0) -> None:
        """A filled circle or ellipse."""
        self.parts.append(Part(disc_of(centre, radius, squash), colour))

    def line(self, points: Sequence[At] | Points, colour: Rgb, width: float) -> None:
        """An open line."""
        self.parts.append(Part(np.array(points), colour, width))


def outline(points: str) -> Points:
    """Points as SVG writes them: "x,y x,y"; float (n, 2).

    >>> outline("0,1 -0.5,2")
    array([[ 0. ,  1. ],
           [-0.5,  2. ]])
    """
    return np.array([[float(number) for number in pair.split(",")] for pair in points.split()])


def polar(radius: float, turn: float) -> Points:
    """The point ``radius`` away in the direction ``turn`` (rad)."""
    return np.array([radius * math.cos(turn), radius * math.sin(turn)])


def spun(points: Points | Sequence[At], turn: float, centre: At = (0.0, 0.0)) -> Points:
    """Points turned about the origin, then moved."""
    c, s = math.cos(turn), math.sin(turn)
    return np.asarray(np.asarray(points) @ np.array([[c, s], [-s, c]]) + np.array(centre))


_PETALS = {
    "shallow": outline("0,.14 .25,.45 .55,.85 .8,1 .96,.8 1,.5 .97,.2 .9,0"),
    "strap": outline("0,.55 .3,.85 .7,1 .95,.9 1,.5 .97,0"),
    "point": outline("0,.35 .2,.8 .5,1 .8,.55 1,0"),
    "round": outline("0,.2 .2,.55 .45,.88 .7,1 .88,.8 .97,.42 1,0"),
}


def petal(start: float, end: float, width: float, tip: str = "round") -> Points:
    """One petal along +x, from ``start`` to ``end``, ``width`` at its widest; "shallow" is notched a little."""
    side = _PETALS[tip] * [end - start, width / 2] + [start, 0]
    return np.concatenate([side, (side * [1, -1])[::-1]])


def disc_of(centre: At, radius: float, squash: float = 1.0) -> Points:
    """A circle or an ellipse as points."""
    turn = np.linspace(0, 2 * np.pi, 18, endpoint=False)
    return np.stack([centre[0] + radius * np.cos(turn), centre[1] + radius * squash * np.sin(turn)], axis=1)


def petals_from_top(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """Three to six petals, sepals behind them, stamens in the middle."""
    count, first = form.count, dice.uniform(0, 6)
    sepal = 1.0 if form.disc < 1 else 0.82 / form.disc
    for k in range(count if form.count != 6 else 0):
        shape = petal(0, sepal * dice.uniform(0.9, 1.0), 0.3, "point")
        to.fill(spun(shape, first + (k + 0.5) * 2 * math.pi / count), varied(GREEN, dice, 0.08, 0.03))
    reach = min(1.0, form.disc)
    order = list(range(count))
    dice.shuffle(order)
    for k in order:
        turn = first + k * 2 * math.pi / count + dice.gauss(0, 0.05)
        end, wide = reach * dice.uniform(0.92, 1.0), reach * form.ratio * dice.uniform(0.92, 1.08)
        base = varied(form.colour, dice, 0.035, 0.012)
        veins = 1 if form.notch == "deep" or count == 6 else 3
        if form.notch == "deep":
            for side in (-1, 1):
                to.fill(spun(petal(0.06, end, wide * 0.42), turn + side * 0.17), base)
        else:
            to.fill(spun(petal(0.04, end, wide, "shallow" if form.notch == "shallow" else "round"), turn), base)
        for j in range(veins):
            off = (j - (veins - 1) / 2) * 0.18 * form.ratio / 0.6
            vein = spun([[0.12, off * 0.3], [end * 0.55, off], [end * 0.86, off * 1.25]], turn)
            to.line(vein, form.stripe or lit(base, 0.86), 0.014)
    to.disc((0, 0), 0.17, form.second)
    for k in range(count * 2 if count > 4 else count):
        turn = first + k * math.pi / count + dice.gauss(0, 0.1)
        tip = polar(dice.uniform(0.2, 0.34), turn)
        to.line([(0, 0), tip], lit(form.second, 1.12), 0.025)
        to.disc(tip, 0.045, POLLEN)


def petals_from_side(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """The same flower from the side: an open funnel in its green cup."""
    long = 1.25 if form.count != 6 else 1.7
    shown, tip = max(3, form.count - 1), "shallow" if form.notch == "shallow" else "round"
    for k in range(shown):
        spread = (k - (shown - 1) / 2) / max(1, shown - 1) * dice.uniform(1.5, 2.1)
        turn, shape = UP + spread * 0.55, petal(0, long * (1 - 0.12 * abs(spread)), form.ratio, tip)
        tone = lit(varied(form.colour, dice, 0.04, 0.01), 1.0 - 0.07 * abs(spread))
        to.fill(spun(shape, turn, (0, 0.75)), tone)
        to.line(spun([[0.1, 0.0], [long * 0.8, 0.0]], turn, (0, 0.75)), form.stripe or lit(tone, 0.86), 0.03)
    for spread in (-0.5, 0.0, 0.5) if form.count != 6 else ():
        shape = petal(0, 0.62 / max(0.6, form.disc), 0.3, "point")
        to.fill(spun(shape, UP + spread, (0, 0.92)), varied(GREEN, dice, 0.08, 0.03))


def lipped(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """A hooded flower on a long tube, from the side: hood above, spotted lip in front."""
    c, narrow = form.colour, np.array([0.72, 1.0])
    hood = outline("-.3,-.1 -.38,-.55 -.18,-.95 .1,-1 .28,-.8 .2,-.4 .1,-.15")
    to.fill(outline("-.1,1 -.13,.1 -.28,-.2 .26,-.2 .13,.1 .1,1") * narrow, lit(c, 0.86))
    to.fill(hood * narrow, c)
    to.fill((hood * 0.45 + [-0.08, -0.36]) * narrow, lit(c, 1.07))
    to.fill(outline("0,-.15 .3,-.3 .72,-.2 .8,.05 .55,.1 .6,.32 .3,.3 .1,.05") * narrow, lit(c, 1.08))
    for _ in range(6):
        at = (dice.uniform(0.2, 0.65), dice.uniform(-0.15, 0.2))
        to.fill(disc_of(at, 0.035) * narrow, lit(c, 0.6))
    to.fill(outline("-.2,1 -.24,.62 -.1,.7 0,.55 .1,.7 .24,.62 .2,1") * narrow, GREEN)


def tubular(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """A narrow spurred tube with a dark tip, lying on its side."""
    body = outline("-.95,-.1 -.8,-.26 -.3,-.24 .5,-.2 .98,-.05 .98,.12 .4,.2 -.7,.2")
    to.fill(body, varied(form.colour, dice, 0.04, 0.02))
    to.line([(-0.7, -0.06), (0.5, -0.02)], lit(form.colour, 0.86), 0.08)
    to.fill(outline(".6,-.18 1,-.06 1,.14 .62,.16"), mixed(lit(form.colour, 0.45), (70, 20, 60), 0.5))
    to.fill(outline("-.3,.24 -.15,.02 .05,.22"), GREEN)


def tiny(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """A knot of minute green perianths."""
    for k in range(max(5, form.count)):
        x, y = polar(0.75 * math.sqrt(k / max(5, form.count)), k * GOLDEN_ANGLE)
        tone = varied(form.colour, dice, 0.12, 0.03)
        to.disc((x, y), 0.3, lit(tone, 0.75))
        to.disc((x - 0.05, y - 0.05), 0.22, tone)
        if dice.random() < 0.5:
            to.disc((x, y - 0.1), 0.06, lit(form.second, 1.15))


def spurge_cup(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """A cup with a stalked round capsule and yellow glands, as in spurges."""
    to.disc((0, 0.1), 0.5, lit(GREEN, 1.15))
    to.disc((0.08, 0.3), 0.42, mixed(GREEN, form.colour, 0.5))
    for turn in (0.3, 1.4, 2.6, 3.8):
        to.fill(spun(petal(0.3, 0.72, 0.3), turn + dice.gauss(0, 0.1)), (206, 196, 84))
    for side in (-0.2, 0.2, 0.0):
        to.disc((side, -0.25), 0.3, varied(GREEN, dice, 0.1, 0.02), 1.1)


def bud(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """A closed bud: green, with a point of the flower's colour."""
    to.fill(spun(petal(0, 1.9, 1.1), UP, (0, 1)), form.colour)
    for turn in (-0.35, 0.35, 0.0):
        to.fill(spun(petal(0, 1.5, 0.85, "point"), UP + turn, (0, 1)), varied(GREEN, dice, 0.1, 0.03))
