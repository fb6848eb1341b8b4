"""Leaves onto stems: simple, of three leaflets, feathered; and the seed leaves of a seedling."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import numpy as np

from training.drawn.colour import STEM, mixed, varied
from training.drawn.curve import Place, along, arc, direction
from training.drawn.leaf import VARIANTS, LeafForm, form_of
from training.drawn.organ import Foliage, Growth
from training.drawn.traits import Shown

# Outline, width over length and share of the stalk of the seed leaves.
COTYLEDONS = {
    "oval": ("oval", 0.45, 0.25),
    "round": ("oval", 0.8, 0.375),
    "linear": ("linear", 0.13, 0.0),
    "spoon": ("spoon", 0.5, 0.375),
    "heart": ("heart", 0.9, 0.375),
}


def foliage_of(shown: Shown, dice: random.Random) -> Foliage:
    """The foliage of one plant; its green varies a little from plant to plant."""
    tone = varied(shown.leaf_colour, dice, 0.05, 0.015)
    length = shown.number("leaflet_length" if shown.leaf_build in ("three_leaflets", "feather") else "leaf_length")
    return Foliage(form_of(shown), length, tone, mixed(shown.stem_colour, tone, 0.3))


def blade(
    growth: Growth,
    foot: Place,
    turn: float,
    rise: float,
    length: float,
    dice: random.Random,
    droop: float = 0.4,
    fold: float = 0.15,
    form: LeafForm | None = None,
) -> None:
    """One blade or leaflet."""
    roll, width, tone = dice.gauss(0, 0.16), dice.uniform(0.9, 1.1), dice.gauss(1.0, 0.07)
    row = (*foot, turn, rise, length, droop, roll, fold, width, tone, float(dice.randrange(VARIANTS)))
    growth.blade(form or growth.leaves.form, row)


def leaf(growth: Growth, foot: Place, turn: float, rise: float, size: float, dice: random.Random) -> None:
    """One whole leaf from ``foot``, pointing along ``turn`` (rad) and ``rise``; ``size`` 1 is full-grown."""
    build = growth.shown.leaf_build
    if build == "three_leaflets":
        _three(growth, foot, turn, rise, size, dice)
    elif build == "feather":
        _feather(growth, foot, turn, rise, size, dice)
    elif growth.leaves.form.stalk >= 0.4 and rise > 0.5:
        _on_a_stalk(growth, foot, turn, rise, size, dice)
    else:
        fold = dice.uniform(0.02, 0.35) if build == "simple" else 0.1
        blade(growth, foot, turn, rise, growth.leaves.length * size, dice, dice.uniform(0.1, 0.9), fold)


def _on_a_stalk(growth: Growth, foot: Place, turn: float, rise: float, size: float, dice: random.Random) -> None:
    """A leaf whose stalk stands up and whose blade lies level upon it."""
    form, whole = growth.leaves.form, growth.leaves.length * size
    stalk = arc(foot, turn, rise, form.stalk * whole, 0.1, 5)
    thick = max(0.35, 0.02 * whole)
    growth.stem(stalk, thick * 1.1, thick, growth.leaves.stalk_colour)
    long = whole * (1 - form.stalk)
    blade(growth, stalk[-1], turn, dice.uniform(-0.1, 0.35), long, dice, 0.2, 0.1, replace(form, stalk=0.0))


def _three(growth: Growth, foot: Place, turn: float, rise: float, size: float, dice: random.Random) -> None:
    shown, leaves = growth.shown, growth.leaves
    long = shown.number("petiole_length") * size * dice.uniform(0.7, 1.15)
    stalk = arc(foot, turn, rise, max(1.0, long), dice.uniform(-0.1, 0.35), 5)
    thick = max(0.35, 0.028 * leaves.length)
    growth.stem(stalk, thick * 1.2, thick, leaves.stalk_colour)
    lean, leaflet = dice.uniform(-0.22, 0.38), leaves.length * size
    heart = leaves.form.outline in ("heart", "fishtail")
    tip = (math.cos(turn) * dice.gauss(0, 0.15), math.sin(turn) * dice.gauss(0, 0.15))
    for side in (0, 1, -1):
        toward = turn + side * (2.09 if heart else dice.gauss(1.9, 0.1))
        place = stalk[-1]
        if side == 0 and shown.state("middle_leaflet", "level") == "stalked":
            step = 0.16 * leaflet
            place = place + direction(turn, step * math.sin(lean), step)
            growth.stem(np.stack([stalk[-1], place]), thick * 0.8, thick * 0.7, leaves.stalk_colour)
        tilt = lean + tip[0] * math.cos(toward) + tip[1] * math.sin(toward) + dice.gauss(0, 0.08)
        size = leaflet * dice.uniform(0.92, 1.08)
        blade(growth, place, toward, tilt - 0.12 if heart else tilt, size, dice, 0.25, dice.uniform(0.05, 0.4))


def _feather(growth: Growth, foot: Place, turn: float, rise: float, size: float, dice: random.Random) -> None:
    shown, leaflet = growth.shown, growth.leaves.length * size
    whole = shown.number("leaf_length") * size
    rib = arc(foot, turn, rise, whole, dice.uniform(0.1, 0.7), 9)
    thick = max(0.3, 0.05 * growth.leaves.length * size)
    growth.stem(rib, thick, thick * 0.6, growth.leaves.stalk_colour)
    pairs = max(1, round(shown.number("leaflet_pairs")))
    start = min(0.7, shown.number("petiole_length") * size / max(whole, 1.0))
    for k in range(pairs):
        place = along(rib, start + (0.97 - start) * (k + 0.4) / pairs)
        part = 0.68 + 0.25 * k / pairs
        for side in (1, -1):
            toward = turn + side * dice.uniform(1.0, 1.35)
            blade(growth, place, toward, 0.1 + dice.gauss(0, 0.12), leaflet * part, dice, 0.2, 0.1)
    if shown.state("leaf_arrangement", "basal") != "opposite":
        blade(growth, rib[-1], turn, rise * 0.3, leaflet * 1.15, dice, 0.3, 0.1)


def seed_leaves(growth: Growth, span: float, dice: random.Random) -> None:
    """The pair of seed leaves of a seedling, ``span`` mm from tip to tip."""
    outline, ratio, stalk = COTYLEDONS[growth.shown.drawing.cotyledon or "oval"]
    form = replace(LeafForm(outline), ratio=ratio, stalk=stalk)
    turn, up = dice.uniform(0, 6.28), dice.uniform(1.0, 4.0)
    growth.stem(np.array([[0.0, 0, 0], [0, 0, up]]), 0.8, 0.7, mixed(STEM, growth.leaves.stalk_colour, 0.5))
    for side in (0.0, math.pi):
        toward = turn + side + dice.gauss(0, 0.12)
        blade(growth, (0, 0, up), toward, dice.uniform(-0.1, 0.5), span / 2, dice, 0.3, 0.08, form)
