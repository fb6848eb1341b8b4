"""Ripe seeds, pods and fruits as coloured shapes, in the frame of flowers (foot at (0, 1) from the side)."""

from __future__ import annotations

import math
import random

import numpy as np

from training.drawn.colour import Rgb, lit, mixed, varied
from training.drawn.flower import GOLDEN_ANGLE, GREEN, FlowerForm, Part, disc_of, petal, spun

SILK: Rgb = (226, 226, 220)
STRAW: Rgb = (186, 158, 104)


def clock(form: FlowerForm, dice: random.Random) -> list[Part]:
    """A ball of seeds, each under its parachute."""
    parts: list[Part] = [Part(disc_of((0, 0), 0.86), (150, 152, 136)), Part(disc_of((0, 0), 0.6), (128, 126, 108))]
    for shell in range(3):
        for k in range(64):
            place = math.sqrt((k + dice.random()) / 64) * (1 - 0.05 * shell)
            turn = k * GOLDEN_ANGLE + dice.gauss(shell, 0.3)
            tip = np.array([place * math.cos(turn), place * math.sin(turn)]) * 0.86
            tone = lit(SILK, 0.66 + 0.12 * shell + 0.16 * place + dice.gauss(0, 0.06))
            parts.append(Part(np.stack([tip * 0.2, tip]), lit(STRAW, 0.85), 0.012))
            spread = 0.15 * (1.1 - 0.4 * place)
            for j in range(11):
                ray = j * 0.571 + dice.gauss(0, 0.1)
                out = tip * 1.06 + spread * np.array([math.cos(ray), math.sin(ray)])
                parts.append(Part(np.stack([tip, out]), tone, 0.008))
    for k in range(30):
        at = (
            0.2 * math.sqrt(k / 30) * math.cos(k * GOLDEN_ANGLE),
            0.2 * math.sqrt(k / 30) * math.sin(k * GOLDEN_ANGLE),
        )
        parts.append(Part(disc_of(at, 0.03), varied((128, 100, 66), dice, 0.2, 0.03)))
    return parts


def tuft(form: FlowerForm, dice: random.Random) -> list[Part]:
    """A brush of white hairs from a small cup: fleabanes, groundsel, thistles in seed."""
    parts: list[Part] = []
    for _ in range(150):
        lean = dice.gauss(0, 0.75)
        end = dice.uniform(0.7, 1.5)
        hair = spun(np.array([[0.1, 0.0], [end, dice.gauss(0, 0.06)]]), -math.pi / 2 + lean, (lean * 0.1, 0.55))
        parts.append(Part(hair, lit(SILK, dice.uniform(0.72, 1.08)), 0.018))
    cup = np.array([[-0.3, 0.35], [-0.38, 0.75], [-0.2, 1.0], [0.2, 1.0], [0.38, 0.75], [0.3, 0.35]])
    return [*parts, Part(cup, mixed(GREEN, STRAW, 0.5))]


def fluff(form: FlowerForm, dice: random.Random) -> list[Part]:
    """Seeds buried in wool."""
    parts = [Part(disc_of((0, 0), 0.7), (178, 160, 140))]
    for _ in range(160):
        at = np.array([dice.gauss(0, 0.34), dice.gauss(0, 0.34)])
        end = at + np.array([dice.gauss(0, 0.13), dice.gauss(0, 0.13)])
        parts.append(Part(np.stack([at, end]), lit((222, 208, 192), dice.uniform(0.7, 1.1)), 0.035))
    return parts


def heart_pod(form: FlowerForm, dice: random.Random) -> list[Part]:
    """A flat heart-shaped or triangular pod."""
    tone = varied(form.colour, dice, 0.1, 0.03)
    heart = np.array(
        [
            [0, 1.0],
            [-0.35, 0.35],
            [-0.82, -0.6],
            [-0.62, -0.88],
            [-0.3, -0.84],
            [0, -0.6],
            [0.3, -0.84],
            [0.62, -0.88],
            [0.82, -0.6],
            [0.35, 0.35],
        ]
    )
    return [
        Part(heart, tone),
        Part(heart * [0.4, 0.7] + [0.22, 0.0], lit(tone, 1.12)),
        Part(np.array([[0, 1.0], [0, -0.66]]), lit(tone, 0.68), 0.06),
    ]


def spiny_ball(form: FlowerForm, dice: random.Random) -> list[Part]:
    """A burr: coiled pod, grass burr, bristly twin or caltrop, by its ``count`` of spines."""
    tone, parts = form.colour, []
    for k in range(form.count):
        turn = k * GOLDEN_ANGLE
        place = math.sqrt((k + 0.5) / form.count)
        way = np.array([math.cos(turn), math.sin(turn)])
        long = 1.0 if form.count > 12 else dice.uniform(0.95, 1.1)
        width = 0.05 if form.count > 12 else 0.12
        parts.append(
            Part(
                np.stack([way * 0.4 * place, way * (0.4 * place + long * 0.6)]),
                lit(tone, dice.uniform(0.85, 1.25)),
                width,
            )
        )
    parts.append(Part(disc_of((0, 0), 0.56), lit(tone, 0.75)))
    for ring in range(4):
        loop = disc_of((0, 0), 0.5 - 0.12 * ring)
        parts.append(Part(loop, lit(tone, 0.85 + 0.1 * ring)))
    for _ in range(form.count // 2):
        at = np.array([dice.gauss(0, 0.22), dice.gauss(0, 0.22)])
        parts.append(Part(np.stack([at, at * 1.5]), lit(tone, 1.3), 0.04))
    return parts


def capsule(form: FlowerForm, dice: random.Random) -> list[Part]:
    """An upright capsule or narrow pod, its foot in the withered cup; ``ratio`` is its width."""
    tone = varied(form.colour, dice, 0.1, 0.03)
    body = spun(petal(0, 2.0, form.ratio * 2, tip="point"), -math.pi / 2, (0, 1))
    seam = np.array([[0, 0.9], [0, -0.8]])
    side = np.array([[-form.ratio * 0.5, 0.5], [-form.ratio * 0.4, -0.3]])
    parts = [Part(body, tone), Part(seam, lit(tone, 0.75), 0.05), Part(side, lit(tone, 1.2), 0.08)]
    for lean in (-0.5, 0.5):
        parts.append(Part(spun(petal(0, 0.7, 0.24, tip="point"), -math.pi / 2 + lean, (0, 1)), GREEN))
    return parts


def ball(form: FlowerForm, dice: random.Random) -> list[Part]:
    """A round fruit: berry, lidded capsule, three lobes (``count`` lobes)."""
    tone, parts = varied(form.colour, dice, 0.08, 0.02), []
    if form.count > 1:
        for k in range(form.count):
            turn = k * 2 * math.pi / form.count - 1.57
            at = (0.36 * math.cos(turn), 0.36 * math.sin(turn))
            parts += [Part(disc_of(at, 0.58), lit(tone, 0.78)), Part(disc_of(at, 0.48), tone)]
    else:
        parts.append(Part(disc_of((0, 0), 0.92), lit(tone, 0.62)))
        parts.append(Part(disc_of((-0.06, -0.08), 0.78), lit(tone, 0.85)))
        parts.append(Part(disc_of((-0.14, -0.18), 0.55), tone))
        if form.disc > 0.5:  # the ring of a lid
            parts.append(Part(np.array([[-0.85, 0.05], [0, 0.18], [0.85, 0.05]]), lit(tone, 0.5), 0.05))
    parts.append(Part(disc_of((-0.3, -0.34), 0.13), lit(mixed(tone, (255, 255, 255), 0.55), 1.0)))
    return parts


def cheese(form: FlowerForm, dice: random.Random) -> list[Part]:
    """A ring of wedges, in its leafy cup; ``ratio`` above 0.5 gives each wedge a bristle."""
    tone = varied(form.colour, dice, 0.08, 0.02)
    parts = [
        Part(spun(petal(0.2, 1.15, 0.8, tip="point"), k * 1.2566 + 0.3), varied(GREEN, dice, 0.1, 0.03))
        for k in range(5)
    ]
    parts.append(Part(disc_of((0, 0), 0.72), lit(tone, 0.7)))
    for k in range(form.count):
        turn = k * 2 * math.pi / form.count
        parts.append(Part(spun(petal(0.14, 0.74, 0.36 * 10 / form.count), turn), lit(tone, dice.uniform(0.92, 1.12))))
        if form.ratio > 0.5:
            parts.append(Part(spun(np.array([[0.6, 0.0], [1.05, 0.05]]), turn), lit(tone, 0.6), 0.03))
    return [*parts, Part(disc_of((0, 0), 0.14), lit(tone, 0.6))]


def twins(form: FlowerForm, dice: random.Random) -> list[Part]:
    """Two round halves, with hooked bristles when ``disc`` says so."""
    tone, parts = varied(form.colour, dice, 0.1, 0.03), []
    for side in (-0.4, 0.4):
        if form.disc > 0.5:
            for k in range(24):
                turn = k * 0.2618
                way = np.array([math.cos(turn), math.sin(turn)])
                parts.append(Part(np.stack([way * 0.3, way * 0.62]) + np.array([side, 0.1]), lit(tone, 1.25), 0.03))
        parts += [Part(disc_of((side, 0.1), 0.46), lit(tone, 0.72)), Part(disc_of((side - 0.05, 0.04), 0.36), tone)]
    return parts


def bare_disc(form: FlowerForm, dice: random.Random) -> list[Part]:
    """A head whose rays have gone: a dome of small seeds."""
    parts = [Part(disc_of((0, 0), 0.6), lit(STRAW, 0.6))]
    for k in range(90):
        out = 0.56 * math.sqrt((k + 0.5) / 90)
        at = (out * math.cos(k * GOLDEN_ANGLE), out * math.sin(k * GOLDEN_ANGLE))
        parts.append(Part(disc_of(at, 0.055), varied(form.colour, dice, 0.14, 0.03)))
    return parts


def winged(form: FlowerForm, dice: random.Random) -> list[Part]:
    """A three-sided fruit with papery wings and a swelling on its back, as docks have."""
    tone = varied(form.colour, dice, 0.12, 0.04)
    parts = [
        Part(disc_of((side, -0.05), 0.55, 1.3), lit(tone, shade))
        for side, shade in ((-0.32, 0.78), (0.32, 0.9), (0.0, 1.08))
    ]
    return [*parts, Part(disc_of((0, 0.25), 0.2, 1.5), lit(tone, 1.3))]


def beak(form: FlowerForm, dice: random.Random) -> list[Part]:
    """A fruit with a long beak, from the side."""
    tone = varied(form.colour, dice, 0.1, 0.03)
    needle = np.array([[-0.12, 0.3], [0, -1.0], [0.12, 0.3]])
    cups = [
        Part(spun(petal(0, 0.75, 0.32, tip="point"), -math.pi / 2 + lean, (0, 1)), GREEN) for lean in (-0.5, 0.0, 0.5)
    ]
    return [Part(needle, tone), Part(disc_of((0, 0.5), 0.3), lit(tone, 0.8)), *cups]
