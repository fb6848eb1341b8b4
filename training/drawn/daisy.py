"""Heads of the daisy family: rays round a disc, strap florets, buttons and thistles."""

from __future__ import annotations

import math
import random

import numpy as np

from training.drawn.colour import Rgb, lit, mixed, varied
from training.drawn.flower import GOLDEN_ANGLE, GREEN, UP, FlowerForm, Points, Sketch, outline, petal, polar, spun


def _florets(to: Sketch, radius: float, colour: Rgb, dice: random.Random, number: int) -> None:
    """A disc of small florets in spirals, the inner ones still closed and greener."""
    to.disc((0, 0), radius, lit(colour, 0.68))
    for k in range(number):
        place = math.sqrt((k + 0.5) / number)
        tone = lit(mixed(colour, (150, 150, 50), 0.35 * (1 - place)), dice.uniform(0.86, 1.14))
        to.disc(polar(radius * 0.94 * place, k * GOLDEN_ANGLE), radius * 0.085, tone)


def daisy_from_top(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """Rays in one or two rings round a disc."""
    count = form.count
    for k in (*range(0, count, 2), *range(1, count, 2)):
        turn = 2 * math.pi * (k + dice.gauss(0, 0.13)) / count
        end, wide = dice.uniform(0.9, 1.0), form.ratio * dice.uniform(0.85, 1.1)
        tone = lit(varied(form.colour, dice, 0.035, 0.008), 0.93 + 0.07 * (k % 2))
        shape = petal(form.disc * 0.7, end, wide, "strap" if form.ratio < 0.2 else "round")
        shape[:, 1] += dice.gauss(0, 0.04) * shape[:, 0] ** 2
        to.fill(spun(shape, turn), tone)
        for off in (-0.2, 0.2):
            streak = spun([[form.disc, off * wide * 0.6], [end * 0.92, off * wide]], turn)
            to.line(streak, lit(tone, 0.88), 0.02)
        if form.stripe:
            to.fill(spun(petal(form.disc * 0.8, form.disc + 0.16, wide * 0.8), turn), form.stripe)
    _florets(to, form.disc, form.second, dice, 130)


def daisy_from_side(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """The head from the side: fanned rays over a green cup, the disc a low dome."""
    fan = dice.uniform(0.15, 0.7)
    for k in range(form.count):
        across = math.cos(math.pi * (k + dice.gauss(0, 0.15)) / max(1, form.count - 1))
        long = (0.35 + 0.65 * abs(across)) * dice.uniform(0.9, 1.0)
        turn = UP + across * (math.pi / 2 - 0.1) * (1.05 - 0.3 * fan)
        shape = spun(petal(0.1, long, form.ratio * (0.5 + 0.5 * (1 - abs(across)))), turn, (0, 0.3))
        to.fill(shape, lit(varied(form.colour, dice, 0.05, 0.01), 0.86 + 0.14 * dice.random()))
    to.disc((0, 0.12), form.disc * 1.05, form.second, 0.55)
    _cup(to, 0.45, dice)


def _cup(to: Sketch, width: float, dice: random.Random) -> None:
    """The green cup of bracts under a head."""
    to.fill(outline("-1,.2 -.7,.85 0,1 .7,.85 1,.2") * [width, 1], lit(GREEN, 0.8))
    for row in range(3):
        for k in range(7):
            x = (k - 3 + 0.5 * (row % 2)) / 3.2 * width
            shape = spun(petal(0, 0.5, width * 0.42, "point"), UP + x * 0.35, (x * 0.8, 0.95 - row * 0.12))
            to.fill(shape, varied(GREEN, dice, 0.12, 0.03))


def straps_from_top(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """A head of strap florets only, as in dandelions: long outer ones, short erect inner ones."""
    to.disc((0, 0), 0.5, lit(form.colour, 0.82))
    for k in range(form.count):
        place = 1 - k / form.count  # outermost first
        turn = k * GOLDEN_ANGLE + dice.gauss(0, 0.07)
        end = (0.2 + 0.8 * place**0.62) * dice.uniform(0.86, 1.0)
        wide = form.ratio * (0.55 + 0.45 * place) * dice.uniform(0.8, 1.15)
        tone = lit(varied(form.colour, dice, 0.05, 0.012), 0.84 + 0.2 * place)
        shape = petal(end * 0.3, end, wide, "strap")
        shape[:, 1] += dice.gauss(0, 0.05) * shape[:, 0] ** 2
        to.fill(spun(shape, turn), tone)
        to.line(spun([[end * 0.45, 0.0], [end * 0.97, 0.0]], turn), lit(tone, 0.83), 0.016)
    for _ in range(26):  # curled styles in the middle
        turn = dice.uniform(0, 6.3)
        at = polar(dice.uniform(0.05, 0.42), turn)
        to.line([at, at + np.array([dice.gauss(0, 0.05), dice.gauss(0, 0.05)])], lit(form.colour, 0.8), 0.025)


def straps_from_side(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """The same head from the side, on its narrow cup."""
    spread = dice.uniform(0.55, 1.25)
    for k in range(max(18, form.count // 2)):
        lean = dice.uniform(-1, 1)
        long = dice.uniform(0.75, 1.12) * (0.82 + 0.18 * abs(lean))
        shape = spun(petal(0.25, long, form.ratio * 0.9, "strap"), UP + lean * spread, (0, 0.35))
        to.fill(shape, lit(varied(form.colour, dice, 0.06, 0.012), 0.78 + 0.25 * (k / 60 + 0.3)))
    _cup(to, 0.27, dice)


def button_from_top(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """A head without rays: florets in a green frame."""
    for k in range(16):
        shape = petal(0.45, dice.uniform(0.86, 1.0), 0.26, "point")
        to.fill(spun(shape, k * 0.3927 + dice.gauss(0, 0.06)), varied(GREEN, dice, 0.12, 0.03))
    _florets(to, max(0.35, form.disc), form.colour, dice, 70)


def button_from_side(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """A narrow cylinder of bracts with a tuft of florets at its mouth."""
    for _ in range(26):
        x = dice.uniform(-0.36, 0.36)
        tip = (x * 1.25 + dice.gauss(0, 0.04), dice.uniform(-0.62, -0.3))
        to.line([(x, -0.1), tip], lit(form.colour, dice.uniform(0.8, 1.1)), 0.07)
    to.fill(outline("-.42,-.1 -.5,.6 -.3,.98 .3,.98 .5,.6 .42,-.1"), lit(GREEN, 0.9))
    for k in range(7):
        x = (k - 3) / 3 * 0.4
        to.line([(x * 1.1, 0.9), (x, -0.14)], lit(GREEN, dice.uniform(0.75, 1.2)), 0.05)


def thistle_from_side(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """A purple brush over a ball of spiny bracts."""
    for _ in range(95):
        lean, long = dice.gauss(0, 0.4), dice.uniform(0.75, 1.12)
        hair = spun([[0.0, 0.0], [long, dice.gauss(0, 0.05)]], UP + lean, (lean * 0.4, 0.0))
        to.line(hair, lit(form.colour, dice.uniform(0.65, 1.2)), 0.045)
    to.disc((0, 0.45), 0.56, lit(GREEN, 0.78), 0.95)
    for k in range(64):
        base = np.array([0, 0.47]) + polar(0.5 * math.sqrt((k + 0.5) / 64), k * GOLDEN_ANGLE)
        out = np.array([base[0] * 0.75, -0.2 + 0.25 * (base[1] - 0.4)]) * dice.uniform(0.8, 1.4)
        to.fill(_sliver(base, base + out, 0.07), varied(GREEN, dice, 0.16, 0.04))
        to.line([base + out * 0.7, base + out * 1.25], (208, 196, 132), 0.025)


def thistle_from_top(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """The same head from above."""
    for k in range(46):
        turn, long = k * 0.1366 + dice.gauss(0, 0.05), dice.uniform(0.85, 1.05)
        to.fill(spun(_sliver(np.zeros(2), np.array([long, 0.0]), 0.1), turn), varied(GREEN, dice, 0.15, 0.04))
    for _ in range(190):
        turn, out = dice.uniform(0, 6.3), math.sqrt(dice.random()) * 0.78
        hair = [polar(out * 0.55, turn), polar(out, turn)]
        to.line(hair, lit(form.colour, dice.uniform(0.62, 1.2)), 0.04)


def _sliver(start: Points, end: Points, width: float) -> Points:
    step = end - start
    across = np.array([-step[1], step[0]]) / max(1e-6, float(np.hypot(*step))) * width / 2
    return np.stack([start + across, start + step * 0.4 + across, end, start + step * 0.4 - across, start - across])
