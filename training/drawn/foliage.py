"""Leaves onto stems: simple, of three leaflets, feathered; and the seed leaves of a seedling."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from training.drawn.colour import REDDENED, STEM, Rgb, mixed, varied
from training.drawn.leaf import VARIANTS, LeafForm, form_of
from training.drawn.organ import Growth
from training.drawn.traits import Shown

Array = NDArray[np.float64]
Place = tuple[float, float, float]


def arc(foot: Place, turn: float, rise: float, length: float, droop: float, points: int = 7) -> Array:
    """A stem that leaves ``foot`` at ``rise`` and bends down (negative: up), in mm."""
    u = np.linspace(0, 1, points)
    out = length * (u * math.cos(rise) + 0.5 * droop * u * u * math.sin(rise))
    up = length * (u * math.sin(rise) - 0.5 * droop * u * u * math.cos(rise))
    x, y = foot[0] + out * math.cos(turn), foot[1] + out * math.sin(turn)
    return np.stack([x, y, np.maximum(foot[2] + up, 0.8)], axis=1)


def way_of(path: Array) -> Array:
    """The direction at the end of a stem."""
    step = np.asarray(path[-1] - path[-2])
    return step / max(1e-9, float(np.linalg.norm(step)))


@dataclass(frozen=True)
class Foliage:
    """What the leaves of one plant share: their form, size (mm) and colour."""

    shown: Shown
    form: LeafForm
    length: float
    colour: Rgb
    stalk_colour: Rgb
    ageing: float

    @property
    def build(self) -> str:
        """How one leaf is built."""
        return self.shown.state("leaf_build", "simple")


def foliage_of(shown: Shown, dice: random.Random) -> Foliage:
    """The foliage of one plant: health and light vary its green from plant to plant."""
    tone = varied(shown.leaf_colour, dice, 0.13, 0.045)
    if dice.random() < 0.22:
        tone = mixed(tone, (178, 176, 70), dice.uniform(0.1, 0.38))  # hungry
    if shown.state("stem_colour", "green") == "reddish" and dice.random() < 0.3:
        tone = mixed(tone, REDDENED, dice.uniform(0.08, 0.4))
    stalk = mixed(shown.stem_colour, tone, 0.3)
    if shown.state("leaf_build", "simple") in ("three_leaflets", "feather"):
        length = shown.number("leaflet_length")
    else:
        length = shown.number("leaf_length")
    return Foliage(shown, form_of(shown), length, tone, stalk, 0.25 * dice.random() ** 2)


def blade(
    growth: Growth,
    leaves: Foliage,
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
    age = 0.0
    if dice.random() < leaves.ageing:
        age = dice.random() ** 1.5
    row = (
        *foot,
        turn,
        rise,
        length,
        droop,
        dice.gauss(0, 0.16),
        fold,
        dice.uniform(0.9, 1.1),
        dice.gauss(1.0, 0.07),
        age,
        float(dice.randrange(VARIANTS)),
    )
    growth.leaf(form or leaves.form, leaves.colour, row)


def leaf(
    growth: Growth, leaves: Foliage, foot: Place, turn: float, rise: float, size: float, dice: random.Random
) -> None:
    """One whole leaf from ``foot``, pointing along ``turn`` (rad) and ``rise``; ``size`` 1 is full-grown."""
    build = leaves.build
    if build == "three_leaflets":
        _three(growth, leaves, foot, turn, rise, size, dice)
    elif build == "feather":
        _feather(growth, leaves, foot, turn, rise, size, dice)
    else:
        fold = dice.uniform(0.02, 0.35) if build == "simple" else 0.1
        blade(growth, leaves, foot, turn, rise, leaves.length * size, dice, dice.uniform(0.1, 0.9), fold)


def _three(
    growth: Growth, leaves: Foliage, foot: Place, turn: float, rise: float, size: float, dice: random.Random
) -> None:
    long = leaves.shown.number("petiole_length") * size * dice.uniform(0.7, 1.15)
    stalk = arc(foot, turn, rise, max(1.0, long), dice.uniform(-0.1, 0.35), 5)
    thick = max(0.35, 0.028 * leaves.length)
    growth.stem(stalk, thick * 1.2, thick, leaves.stalk_colour)
    x, y, z = stalk[-1].tolist()
    lean, leaflet = dice.uniform(-0.22, 0.38), leaves.length * size
    heart = leaves.form.outline in ("heart", "fishtail")
    tip = (math.cos(turn) * dice.gauss(0, 0.15), math.sin(turn) * dice.gauss(0, 0.15))
    for side in (0, 1, -1):
        toward = turn + side * (2.09 if heart else dice.gauss(1.9, 0.1))
        place = (x, y, z)
        if side == 0 and leaves.shown.state("middle_leaflet", "level") == "stalked":
            step = 0.16 * leaflet
            place = (x + step * math.cos(turn), y + step * math.sin(turn), z + step * math.sin(lean))
            growth.stem(np.array([[x, y, z], place]), thick * 0.8, thick * 0.7, leaves.stalk_colour)
        tilt = lean + tip[0] * math.cos(toward) + tip[1] * math.sin(toward) + dice.gauss(0, 0.08)
        if heart:
            tilt -= 0.12
        blade(
            growth, leaves, place, toward, tilt, leaflet * dice.uniform(0.92, 1.08), dice, 0.25, dice.uniform(0.05, 0.4)
        )


def _feather(
    growth: Growth, leaves: Foliage, foot: Place, turn: float, rise: float, size: float, dice: random.Random
) -> None:
    whole = leaves.shown.number("leaf_length") * size
    rib = arc(foot, turn, rise, whole, dice.uniform(0.1, 0.7), 9)
    thick = max(0.3, 0.05 * leaves.length * size)
    growth.stem(rib, thick, thick * 0.6, leaves.stalk_colour)
    pairs = max(1, round(leaves.shown.number("leaflet_pairs")))
    start = min(0.7, leaves.shown.number("petiole_length") * size / max(whole, 1.0))
    leaflet = leaves.length * size
    for k in range(pairs):
        at = start + (0.97 - start) * (k + 0.4) / pairs
        x, y, z = (float(np.interp(at, np.linspace(0, 1, 9), rib[:, i])) for i in range(3))
        part = 0.68 + 0.25 * k / pairs
        for side in (1, -1):
            toward = turn + side * dice.uniform(1.0, 1.35)
            blade(growth, leaves, (x, y, z), toward, 0.1 + dice.gauss(0, 0.12), leaflet * part, dice, 0.2, 0.1)
    if leaves.shown.state("leaf_arrangement", "basal") != "opposite":
        x, y, z = rib[-1].tolist()
        blade(growth, leaves, (x, y, z), turn, rise * 0.3, leaflet * 1.15, dice, 0.3, 0.1)


def seed_leaves(growth: Growth, leaves: Foliage, span: float, dice: random.Random) -> None:
    """The pair of seed leaves of a seedling, ``span`` mm from tip to tip."""
    kind = leaves.shown.drawing.cotyledon or "oval"
    outline, ratio, stalk = {
        "oval": ("oval", 0.45, 0.25),
        "round": ("oval", 0.8, 0.375),
        "linear": ("linear", 0.13, 0.0),
        "spoon": ("spoon", 0.5, 0.375),
        "heart": ("heart", 0.9, 0.375),
    }[kind]
    form = replace(LeafForm(outline), ratio=ratio, stalk=stalk, texture="fleshy")
    turn, up = dice.uniform(0, 6.28), dice.uniform(1.0, 4.0)
    growth.stem(np.array([[0.0, 0, 0], [0, 0, up]]), 0.8, 0.7, mixed(STEM, leaves.stalk_colour, 0.5))
    for side in (0.0, math.pi):
        toward = turn + side + dice.gauss(0, 0.12)
        blade(growth, leaves, (0, 0, up), toward, dice.uniform(-0.1, 0.5), span / 2, dice, 0.3, 0.08, form)
