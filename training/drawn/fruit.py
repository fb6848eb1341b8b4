"""Ripe seeds, pods and fruits as coloured shapes, in the frame of flowers (foot at (0, 1) from the side)."""

from __future__ import annotations

import math
import random

import numpy as np

from training.drawn.colour import Rgb, lit, mixed, varied
from training.drawn.flower import GOLDEN_ANGLE, GREEN, UP, FlowerForm, Points, Sketch, outline, petal, polar, spun

SILK: Rgb = (226, 226, 220)
STRAW: Rgb = (186, 158, 104)


def _spread(dice: random.Random, by: float) -> Points:
    return np.array([dice.gauss(0, by), dice.gauss(0, by)])


def clock(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """A ball of seeds, each under its parachute."""
    to.disc((0, 0), 0.86, (150, 152, 136))
    to.disc((0, 0), 0.6, (128, 126, 108))
    for shell in range(3):
        for k in range(64):
            place = math.sqrt((k + dice.random()) / 64) * (1 - 0.05 * shell)
            tip = polar(place, k * GOLDEN_ANGLE + dice.gauss(shell, 0.3)) * 0.86
            tone = lit(SILK, 0.66 + 0.12 * shell + 0.16 * place + dice.gauss(0, 0.06))
            to.line([tip * 0.2, tip], lit(STRAW, 0.85), 0.012)
            spread = 0.15 * (1.1 - 0.4 * place)
            for j in range(11):
                to.line([tip, tip * 1.06 + spread * polar(1, j * 0.571 + dice.gauss(0, 0.1))], tone, 0.008)
    for k in range(30):
        to.disc(polar(0.2 * math.sqrt(k / 30), k * GOLDEN_ANGLE), 0.03, varied((128, 100, 66), dice, 0.2, 0.03))


def tuft(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """A brush of white hairs from a small cup: fleabanes, groundsel, thistles in seed."""
    for _ in range(150):
        lean, end = dice.gauss(0, 0.75), dice.uniform(0.7, 1.5)
        hair = spun([[0.1, 0.0], [end, dice.gauss(0, 0.06)]], UP + lean, (lean * 0.1, 0.55))
        to.line(hair, lit(SILK, dice.uniform(0.72, 1.08)), 0.018)
    to.fill(outline("-.3,.35 -.38,.75 -.2,1 .2,1 .38,.75 .3,.35"), mixed(GREEN, STRAW, 0.5))


def fluff(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """Seeds buried in wool."""
    to.disc((0, 0), 0.7, (178, 160, 140))
    for _ in range(160):
        at = _spread(dice, 0.34)
        to.line([at, at + _spread(dice, 0.13)], lit((222, 208, 192), dice.uniform(0.7, 1.1)), 0.035)


def heart_pod(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """A flat heart-shaped or triangular pod."""
    tone = varied(form.colour, dice, 0.1, 0.03)
    heart = outline("0,1 -.35,.35 -.82,-.6 -.62,-.88 -.3,-.84 0,-.6 .3,-.84 .62,-.88 .82,-.6 .35,.35")
    to.fill(heart, tone)
    to.fill(heart * [0.4, 0.7] + [0.22, 0.0], lit(tone, 1.12))
    to.line([(0, 1.0), (0, -0.66)], lit(tone, 0.68), 0.06)


def spiny_ball(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """A burr: coiled pod, grass burr, bristly twin or caltrop, by its ``count`` of spines."""
    tone, fine = form.colour, form.count > 12
    for k in range(form.count):
        way, foot = polar(1, k * GOLDEN_ANGLE), 0.4 * math.sqrt((k + 0.5) / form.count)
        tip = foot + (1.0 if fine else dice.uniform(0.95, 1.1)) * 0.6
        to.line([way * foot, way * tip], lit(tone, dice.uniform(0.85, 1.25)), 0.05 if fine else 0.12)
    to.disc((0, 0), 0.56, lit(tone, 0.75))
    for ring in range(4):
        to.disc((0, 0), 0.5 - 0.12 * ring, lit(tone, 0.85 + 0.1 * ring))
    for _ in range(form.count // 2):
        at = _spread(dice, 0.22)
        to.line([at, at * 1.5], lit(tone, 1.3), 0.04)


def capsule(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """An upright capsule or narrow pod, its foot in the withered cup; ``ratio`` is its width."""
    tone = varied(form.colour, dice, 0.1, 0.03)
    to.fill(spun(petal(0, 2.0, form.ratio * 2, "point"), UP, (0, 1)), tone)
    to.line([(0, 0.9), (0, -0.8)], lit(tone, 0.75), 0.05)
    to.line([(-form.ratio * 0.5, 0.5), (-form.ratio * 0.4, -0.3)], lit(tone, 1.2), 0.08)
    for lean in (-0.5, 0.5):
        to.fill(spun(petal(0, 0.7, 0.24, "point"), UP + lean, (0, 1)), GREEN)


def ball(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """A round fruit: berry, lidded capsule, three lobes (``count`` lobes)."""
    tone = varied(form.colour, dice, 0.08, 0.02)
    for k in range(form.count if form.count > 1 else 0):
        at = polar(0.36, k * 2 * math.pi / form.count - 1.57)
        to.disc(at, 0.58, lit(tone, 0.78))
        to.disc(at, 0.48, tone)
    if form.count == 1:
        to.disc((0, 0), 0.92, lit(tone, 0.62))
        to.disc((-0.06, -0.08), 0.78, lit(tone, 0.85))
        to.disc((-0.14, -0.18), 0.55, tone)
        if form.disc > 0.5:  # the ring of a lid
            to.line([(-0.85, 0.05), (0, 0.18), (0.85, 0.05)], lit(tone, 0.5), 0.05)
    to.disc((-0.3, -0.34), 0.13, mixed(tone, (255, 255, 255), 0.55))


def cheese(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """A ring of wedges, in its leafy cup; ``ratio`` above 0.5 gives each wedge a bristle."""
    tone = varied(form.colour, dice, 0.08, 0.02)
    for k in range(5):
        to.fill(spun(petal(0.2, 1.15, 0.8, "point"), k * 1.2566 + 0.3), varied(GREEN, dice, 0.1, 0.03))
    to.disc((0, 0), 0.72, lit(tone, 0.7))
    for k in range(form.count):
        turn = k * 2 * math.pi / form.count
        to.fill(spun(petal(0.14, 0.74, 0.36 * 10 / form.count), turn), lit(tone, dice.uniform(0.92, 1.12)))
        if form.ratio > 0.5:
            to.line(spun([[0.6, 0.0], [1.05, 0.05]], turn), lit(tone, 0.6), 0.03)
    to.disc((0, 0), 0.14, lit(tone, 0.6))


def twins(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """Two round halves with hooked bristles."""
    tone = varied(form.colour, dice, 0.1, 0.03)
    for side in (-0.4, 0.4):
        for k in range(24):
            way = polar(1, k * 0.2618)
            to.line(np.stack([way * 0.3, way * 0.62]) + np.array([side, 0.1]), lit(tone, 1.25), 0.03)
        to.disc((side, 0.1), 0.46, lit(tone, 0.72))
        to.disc((side - 0.05, 0.04), 0.36, tone)


def bare_disc(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """A head whose rays have gone: a dome of small seeds."""
    to.disc((0, 0), 0.6, lit(STRAW, 0.6))
    for k in range(90):
        at = polar(0.56 * math.sqrt((k + 0.5) / 90), k * GOLDEN_ANGLE)
        to.disc(at, 0.055, varied(form.colour, dice, 0.14, 0.03))


def winged(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """A three-sided fruit with papery wings and a swelling on its back, as docks have."""
    tone = varied(form.colour, dice, 0.12, 0.04)
    for side, shade in ((-0.32, 0.78), (0.32, 0.9), (0.0, 1.08)):
        to.disc((side, -0.05), 0.55, lit(tone, shade), 1.3)
    to.disc((0, 0.25), 0.2, lit(tone, 1.3), 1.5)


def beak(to: Sketch, form: FlowerForm, dice: random.Random) -> None:
    """A fruit with a long beak, from the side."""
    tone = varied(form.colour, dice, 0.1, 0.03)
    to.fill(outline("-.12,.3 0,-1 .12,.3"), tone)
    to.disc((0, 0.5), 0.3, lit(tone, 0.8))
    for lean in (-0.5, 0.0, 0.5):
        to.fill(spun(petal(0, 0.75, 0.32, "point"), UP + lean, (0, 1)), GREEN)
