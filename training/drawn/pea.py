"""Pea flowers: one by one, and as the round heads of clovers and medics."""

from __future__ import annotations

import math
import random

import numpy as np

from training.drawn.colour import Rgb, lit, mixed, varied
from training.drawn.flower import GOLDEN_ANGLE, GREEN, FlowerForm, Sketch, outline, polar, spun

WITHERED: Rgb = (156, 120, 78)
# One flower of a head from its foot outwards, and the shorter petals on it.
BANNER = outline("0,-.05 .25,-.075 .369,-.063 .41,0 .369,.063 .25,.075 0,.05")
SHORTER = outline(".02,-.05 .2706,-.045 .2952,.03 .246,.042 .02,.05")


def pea_from_side(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """One flower: banner, keel, wing and cup, its foot at (0, 1), opening up."""
    tone = varied(form.colour, dice, 0.04, 0.015)
    to.fill(outline("-.08,.6 -.3,.1 -.5,-.5 -.38,-.95 -.1,-1 .05,-.6 .08,.4"), tone)
    for x in (-0.38, -0.25, -0.1):
        to.line([(-0.1, 0.3), (x, -0.75)], lit(tone, 0.85), 0.03)
    to.fill(outline(".05,.55 .12,0 .36,-.2 .5,0 .34,.4"), lit(tone, 0.9))
    to.fill(outline("0,.55 -.1,-.1 .1,-.5 .38,-.42 .4,-.1 .16,.5"), lit(tone, 1.06))
    to.fill(outline("-.17,1 -.2,.55 -.08,.4 0,.58 .1,.4 .2,.55 .15,1"), GREEN)


def _floret(
    to: Sketch, form: FlowerForm, dice: random.Random, place: float, turn: float, old: float, down: float = 0.0
) -> None:
    """One flower of a head, reaching out along ``turn``; ``place`` 1 at the rim, 0 in the middle."""
    foot, centre = 0.58 * place, (0.0, down)
    colour = mixed(varied(form.colour, dice, 0.05, 0.012), WITHERED, old)
    # The rim lies in the shade of the flowers above it.
    colour = lit(colour, 0.84 + 0.2 * (1 - place))
    to.fill(spun(BANNER + np.array([foot, 0]), turn, centre), colour)
    to.line(spun([[foot + 0.1, 0.0], [foot + 0.3772, 0.0]], turn, centre), lit(colour, 0.78), 0.025)
    to.fill(spun(SHORTER + np.array([foot, 0]), turn, centre), lit(colour, 1.08))


def head_from_top(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """A ball of flowers from above: the outer ones open first, the middle is still in bud."""
    to.disc((0, 0), 0.7, mixed(form.colour, GREEN, 0.55))
    count = max(18, round(form.count * 2.2))
    withered = dice.random() ** 2 * 0.6
    for k in range(count):
        place = math.sqrt(1 - k / count)
        old = 0.8 if place > 1 - withered * 0.4 and dice.random() < 0.7 else 0.0
        _floret(to, form, dice, place, k * GOLDEN_ANGLE + dice.gauss(0, 0.12), old)
    for k in range(int(7 * min(1, count / 20))):
        to.disc(polar(0.14, k * 2.4), 0.08, mixed(form.colour, (170, 190, 120), 0.55), 1.3)
