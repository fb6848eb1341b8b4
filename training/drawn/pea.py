"""Pea flowers: one by one, and as the round heads of clovers and medics."""

from __future__ import annotations

import math
import random

import numpy as np

from training.drawn.colour import Rgb, lit, mixed, varied
from training.drawn.flower import GOLDEN_ANGLE, GREEN, FlowerForm, Part, Points, disc_of, spun

WITHERED: Rgb = (156, 120, 78)


def pea_flower() -> tuple[Points, Points, Points, Points]:
    """Banner, wing, keel and cup of one flower from the side, its foot at (0, 1), opening up."""
    banner = np.array(
        [[-0.08, 0.6], [-0.3, 0.1], [-0.5, -0.5], [-0.38, -0.95], [-0.1, -1.0], [0.05, -0.6], [0.08, 0.4]]
    )
    wing = np.array([[0.0, 0.55], [-0.1, -0.1], [0.1, -0.5], [0.38, -0.42], [0.4, -0.1], [0.16, 0.5]])
    keel = np.array([[0.05, 0.55], [0.12, 0.0], [0.36, -0.2], [0.5, 0.0], [0.34, 0.4]])
    cup = np.array([[-0.17, 1.0], [-0.2, 0.55], [-0.08, 0.4], [0.0, 0.58], [0.1, 0.4], [0.2, 0.55], [0.15, 1.0]])
    return banner, wing, keel, cup


def pea_from_side(form: FlowerForm, dice: random.Random) -> list[Part]:
    """One flower."""
    banner, wing, keel, cup = pea_flower()
    tone = varied(form.colour, dice, 0.04, 0.015)
    lines = [Part(np.array([[-0.1, 0.3], [x, -0.75]]), lit(tone, 0.85), 0.03) for x in (-0.38, -0.25, -0.1)]
    return [Part(banner, tone), *lines, Part(keel, lit(tone, 0.9)), Part(wing, lit(tone, 1.06)), Part(cup, GREEN)]


def _floret(form: FlowerForm, dice: random.Random, place: float, turn: float, old: float, squash: float) -> list[Part]:
    """One flower of a head, reaching out along ``turn``; ``place`` 1 at the rim, 0 in the middle."""
    wide, long = 0.15, 0.41
    foot = 0.58 * place
    colour = mixed(varied(form.colour, dice, 0.05, 0.012), WITHERED, old)
    # The rim lies in the shade of the flowers above it.
    colour = lit(colour, 0.84 + 0.2 * (1 - place))
    banner = np.array(
        [
            [0, -0.05],
            [0.25, -wide * 0.5],
            [long * 0.9, -wide * 0.42],
            [long, 0],
            [long * 0.9, wide * 0.42],
            [0.25, wide * 0.5],
            [0, 0.05],
        ]
    )
    shorter = np.array(
        [[0.02, -0.05], [long * 0.66, -wide * 0.3], [long * 0.72, 0.03], [long * 0.6, wide * 0.28], [0.02, 0.05]]
    )
    way = spun(banner + np.array([foot, 0]), turn) * [1, squash]
    inner = spun(shorter + np.array([foot, 0]), turn) * [1, squash]
    rim = np.array([[foot + 0.1, 0.0], [foot + long * 0.92, 0.0]])
    return [
        Part(way, colour),
        Part(spun(rim, turn) * [1, squash], lit(colour, 0.78), 0.025),
        Part(inner, lit(colour, 1.08)),
    ]


def head_from_top(form: FlowerForm, dice: random.Random) -> list[Part]:
    """A ball of flowers from above: the outer ones open first, the middle is still in bud."""
    parts = [Part(disc_of((0, 0), 0.7), mixed(form.colour, GREEN, 0.55))]
    count = max(18, round(form.count * 2.2))
    withered = dice.random() ** 2 * 0.6
    for k in range(count):
        place = math.sqrt(1 - k / count)
        old = 0.8 if place > 1 - withered * 0.4 and dice.random() < 0.7 else 0.0
        parts += _floret(form, dice, place, k * GOLDEN_ANGLE + dice.gauss(0, 0.12), old, 1.0)
    for k in range(int(7 * min(1, count / 20))):
        at = (0.14 * math.cos(k * 2.4), 0.14 * math.sin(k * 2.4))
        parts.append(Part(disc_of(at, 0.08, 1.3), mixed(form.colour, (170, 190, 120), 0.55)))
    return parts


def head_from_side(form: FlowerForm, dice: random.Random) -> list[Part]:
    """The ball from the side: upper flowers erect, lower ones spreading, then hanging and brown."""
    parts = [Part(disc_of((0, 0.15), 0.5), mixed(form.colour, GREEN, 0.5))]
    count = max(6, form.count)
    fade = dice.random() * 0.5
    rows = 4
    for row in range(rows):
        level = row / (rows - 1)  # 0 lowest
        number = max(3, count // rows)
        for k in range(number):
            across = (k + 0.5) / number * 2 - 1 + dice.gauss(0, 0.05)
            reach = 1.0 if row == 0 else 0.85
            turn = -math.pi / 2 + across * (2.7 - 1.6 * level) * reach
            old = 0.85 if level < fade else 0.0
            pieces = _floret(form, dice, 0.75 - 0.2 * level, turn, old, 1.0)
            parts += [Part(p.points + np.array([0.0, 0.25 - 0.3 * level]), p.colour, p.width) for p in pieces]
    return parts
