"""Heads of the daisy family: rays round a disc, strap florets, buttons and thistles."""

from __future__ import annotations

import math
import random

import numpy as np

from training.drawn.colour import Rgb, lit, mixed, varied
from training.drawn.flower import GOLDEN_ANGLE, GREEN, FlowerForm, Part, Points, disc_of, petal, spun


def _florets(
    radius: float, colour: Rgb, dice: random.Random, number: int, centre: tuple[float, float] = (0, 0)
) -> list[Part]:
    """A disc of small florets in spirals, the inner ones still closed and greener."""
    parts = [Part(disc_of(centre, radius), lit(colour, 0.68))]
    for k in range(number):
        place = math.sqrt((k + 0.5) / number)
        turn = k * GOLDEN_ANGLE
        at = (centre[0] + radius * 0.94 * place * math.cos(turn), centre[1] + radius * 0.94 * place * math.sin(turn))
        tone = lit(mixed(colour, (150, 150, 50), 0.35 * (1 - place)), dice.uniform(0.86, 1.14))
        parts.append(Part(disc_of(at, radius * 0.085), tone))
    return parts


def daisy_from_top(form: FlowerForm, dice: random.Random) -> list[Part]:
    """Rays in one or two rings round a disc."""
    parts, count = [], form.count
    for ring in (0, 1):
        for k in range(count):
            if k % 2 != ring:
                continue
            turn = 2 * math.pi * (k + dice.gauss(0, 0.13)) / count
            end, wide = dice.uniform(0.9, 1.0), form.ratio * dice.uniform(0.85, 1.1)
            tone = lit(varied(form.colour, dice, 0.035, 0.008), 0.93 + 0.07 * ring)
            shape = petal(form.disc * 0.7, end, wide, tip="strap" if form.ratio < 0.2 else "round")
            shape[:, 1] += dice.gauss(0, 0.04) * shape[:, 0] ** 2
            parts.append(Part(spun(shape, turn), tone))
            for off in (-0.2, 0.2):
                streak = np.array([[form.disc, off * wide * 0.6], [end * 0.92, off * wide]])
                parts.append(Part(spun(streak, turn), lit(tone, 0.88), 0.02))
            if form.stripe:
                shape = petal(form.disc * 0.8, form.disc + 0.16, wide * 0.8)
                parts.append(Part(spun(shape, turn), form.stripe))
    return parts + _florets(form.disc, form.second, dice, 130)


def daisy_from_side(form: FlowerForm, dice: random.Random) -> list[Part]:
    """The head from the side: fanned rays over a green cup, the disc a low dome."""
    parts: list[Part] = []
    fan = dice.uniform(0.15, 0.7)
    for k in range(form.count):
        across = math.cos(math.pi * (k + dice.gauss(0, 0.15)) / max(1, form.count - 1))
        long = (0.35 + 0.65 * abs(across)) * dice.uniform(0.9, 1.0)
        turn = -math.pi / 2 + across * (math.pi / 2 - 0.1) * (1.05 - 0.3 * fan)
        shape = spun(petal(0.1, long, form.ratio * (0.5 + 0.5 * (1 - abs(across)))), turn, (0, 0.3))
        parts.append(Part(shape, lit(varied(form.colour, dice, 0.05, 0.01), 0.86 + 0.14 * dice.random())))
    dome = disc_of((0, 0.12), form.disc * 1.05, 0.55)
    parts.append(Part(dome, form.second))
    return parts + _cup(0.45, form, dice)


def _cup(width: float, form: FlowerForm, dice: random.Random, top: float = 0.2, prickly: bool = False) -> list[Part]:
    """The green cup of bracts under a head."""
    parts = [
        Part(
            np.array([[-width, top], [-width * 0.7, 0.85], [0, 1.0], [width * 0.7, 0.85], [width, top]]),
            lit(GREEN, 0.8),
        )
    ]
    for row in range(3):
        for k in range(7):
            x = (k - 3 + 0.5 * (row % 2)) / 3.2 * width
            foot, long = (x * 0.8, 0.95 - row * 0.12), 0.5
            shape = spun(petal(0, long, width * 0.42, tip="point"), -math.pi / 2 + x * 0.35, foot)
            parts.append(Part(shape, varied(GREEN, dice, 0.12, 0.03)))
            if prickly:
                spike = spun(np.array([[0.4, 0.0], [0.85, 0.0]]), -math.pi / 2 + x * 2.4, foot)
                parts.append(Part(spike, (196, 190, 120), 0.03))
    return parts


def straps_from_top(form: FlowerForm, dice: random.Random) -> list[Part]:
    """A head of strap florets only, as in dandelions: long outer ones, short erect inner ones."""
    parts = [Part(disc_of((0, 0), 0.62), lit(form.colour, 0.66))]
    count = form.count
    for k in range(count):
        place = 1 - k / count  # outermost first
        turn = k * GOLDEN_ANGLE + dice.gauss(0, 0.07)
        end = (0.2 + 0.8 * place**0.62) * dice.uniform(0.86, 1.0)
        wide = form.ratio * (0.55 + 0.45 * place) * dice.uniform(0.8, 1.15)
        tone = lit(varied(form.colour, dice, 0.05, 0.012), 0.84 + 0.2 * place)
        shape = petal(end * 0.3, end, wide, tip="strap")
        shape[:, 1] += dice.gauss(0, 0.05) * shape[:, 0] ** 2
        parts.append(Part(spun(shape, turn), tone))
        streak = np.array([[end * 0.45, 0.0], [end * 0.97, 0.0]])
        parts.append(Part(spun(streak, turn), lit(tone, 0.83), 0.016))
    for _ in range(26):  # curled styles in the middle
        turn, out = dice.uniform(0, 6.3), dice.uniform(0.05, 0.42)
        at = np.array([out * math.cos(turn), out * math.sin(turn)])
        parts.append(
            Part(
                np.stack([at, at + np.array([dice.gauss(0, 0.05), dice.gauss(0, 0.05)])]), lit(form.colour, 0.8), 0.025
            )
        )
    return parts


def straps_from_side(form: FlowerForm, dice: random.Random) -> list[Part]:
    """The same head from the side, on its narrow cup."""
    parts: list[Part] = []
    spread = dice.uniform(0.55, 1.25)
    for k in range(max(18, form.count // 2)):
        lean = dice.uniform(-1, 1)
        long = dice.uniform(0.75, 1.12) * (0.82 + 0.18 * abs(lean))
        shape = spun(petal(0.25, long, form.ratio * 0.9, tip="strap"), -math.pi / 2 + lean * spread, (0, 0.35))
        parts.append(Part(shape, lit(varied(form.colour, dice, 0.06, 0.012), 0.78 + 0.25 * (k / 60 + 0.3))))
    return parts + _cup(0.27, form, dice)


def button_from_top(form: FlowerForm, dice: random.Random) -> list[Part]:
    """A head without rays: florets in a green frame."""
    parts = []
    for k in range(16):
        shape = petal(0.45, dice.uniform(0.86, 1.0), 0.26, tip="point")
        parts.append(Part(spun(shape, k * 0.3927 + dice.gauss(0, 0.06)), varied(GREEN, dice, 0.12, 0.03)))
    return parts + _florets(max(0.35, form.disc), form.colour, dice, 70)


def button_from_side(form: FlowerForm, dice: random.Random) -> list[Part]:
    """A narrow cylinder of bracts with a tuft of florets at its mouth."""
    parts: list[Part] = []
    for _ in range(26):
        x = dice.uniform(-0.36, 0.36)
        brush = np.array([[x, -0.1], [x * 1.25 + dice.gauss(0, 0.04), dice.uniform(-0.62, -0.3)]])
        parts.append(Part(brush, lit(form.colour, dice.uniform(0.8, 1.1)), 0.07))
    tube = np.array([[-0.42, -0.1], [-0.5, 0.6], [-0.3, 0.98], [0.3, 0.98], [0.5, 0.6], [0.42, -0.1]])
    parts.append(Part(tube, lit(GREEN, 0.9)))
    for k in range(7):
        x = (k - 3) / 3 * 0.4
        parts.append(Part(np.array([[x * 1.1, 0.9], [x, -0.14]]), lit(GREEN, dice.uniform(0.75, 1.2)), 0.05))
    return parts


def thistle_from_side(form: FlowerForm, dice: random.Random) -> list[Part]:
    """A purple brush over a ball of spiny bracts."""
    parts: list[Part] = []
    for _ in range(95):
        lean, long = dice.gauss(0, 0.4), dice.uniform(0.75, 1.12)
        foot = (lean * 0.4, 0.0)
        hair = spun(np.array([[0.0, 0.0], [long, dice.gauss(0, 0.05)]]), -math.pi / 2 + lean, foot)
        parts.append(Part(hair, lit(form.colour, dice.uniform(0.65, 1.2)), 0.045))
    parts.append(Part(disc_of((0, 0.45), 0.56, 0.95), lit(GREEN, 0.78)))
    for k in range(64):
        place = math.sqrt((k + 0.5) / 64)
        turn = k * GOLDEN_ANGLE
        base = np.array([0.5 * place * math.cos(turn), 0.47 + 0.5 * place * math.sin(turn)])
        out = np.array([base[0] * 0.75, -0.2 + 0.25 * (base[1] - 0.4)]) * dice.uniform(0.8, 1.4)
        bract = _sliver(base, base + out, 0.07)
        parts.append(Part(bract, varied(GREEN, dice, 0.16, 0.04)))
        parts.append(Part(np.stack([base + out * 0.7, base + out * 1.25]), (208, 196, 132), 0.025))
    return parts


def thistle_from_top(form: FlowerForm, dice: random.Random) -> list[Part]:
    """The same head from above."""
    parts: list[Part] = []
    for k in range(46):
        turn, long = k * 0.1366 + dice.gauss(0, 0.05), dice.uniform(0.85, 1.05)
        parts.append(
            Part(spun(_sliver(np.zeros(2), np.array([long, 0.0]), 0.1), turn), varied(GREEN, dice, 0.15, 0.04))
        )
    for _ in range(190):
        turn, out = dice.uniform(0, 6.3), math.sqrt(dice.random()) * 0.78
        way = np.array([math.cos(turn), math.sin(turn)])
        hair = np.stack([way * out * 0.55, way * out])
        parts.append(Part(hair, lit(form.colour, dice.uniform(0.62, 1.2)), 0.04))
    return parts


def _sliver(start: Points, end: Points, width: float) -> Points:
    step = end - start
    across = np.array([-step[1], step[0]]) / max(1e-6, float(np.hypot(*step))) * width / 2
    return np.stack([start + across, start + step * 0.4 + across, end, start + step * 0.4 - across, start - across])
