"""The parts of a plant in space, in mm: x right, y away, z up, the plant's foot at the origin.

A plant is a frozen list of such parts; painting never changes it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from training.drawn.colour import Rgb
from training.drawn.flower import FlowerForm
from training.drawn.leaf import LeafForm

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Leaves:
    """Blades of one form. Arrays have one row a blade; ``rows`` are base x, y, z (mm), turn
    and rise (rad) at the base, length (mm), droop, roll (rad), fold (rad), width factor, tone
    factor, age (0 fresh to 1 dead) and variant.
    """

    form: LeafForm
    colour: Rgb
    rows: Array = field(repr=False)


@dataclass(frozen=True)
class Stem:
    """A line with thickness (mm) at its start and end."""

    path: Array = field(repr=False)
    thick: float
    thin: float
    colour: Rgb
    hairy: bool = False


@dataclass(frozen=True)
class Blossom:
    """A flower, head or fruit: a painted disc or ball. ``facing`` is a unit vector, ``radius`` mm."""

    form: FlowerForm
    centre: tuple[float, float, float]
    facing: tuple[float, float, float]
    radius: float
    variant: int


@dataclass(frozen=True)
class Flakes:
    """Many small pieces (spikelets, fruits, bracts). Rows: x, y, z, direction x, y, z (unit),
    length, width (mm), red, green, blue.
    """

    rows: Array = field(repr=False)
    pointed: bool = True


@dataclass(frozen=True)
class Bristles:
    """Fine lines: awns, long hairs, stamens. Rows: start x, y, z, end x, y, z (mm), red, green, blue."""

    rows: Array = field(repr=False)


@dataclass(frozen=True)
class Plant:
    """All parts of one plant and how far it reaches (mm): sideways and up."""

    leaves: tuple[Leaves, ...]
    stems: tuple[Stem, ...]
    blossoms: tuple[Blossom, ...]
    flakes: tuple[Flakes, ...]
    bristles: tuple[Bristles, ...]
    spread: float
    height: float


class Growth:
    """A plant while it grows: collects parts, then ``done`` freezes them."""

    def __init__(self) -> None:
        self._leaves: dict[tuple[LeafForm, Rgb], list[tuple[float, ...]]] = {}
        self._stems: list[Stem] = []
        self._blossoms: list[Blossom] = []
        self._flakes: list[tuple[float, ...]] = []
        self._round_flakes: list[tuple[float, ...]] = []
        self._bristles: list[tuple[float, ...]] = []

    def leaf(self, form: LeafForm, colour: Rgb, row: tuple[float, ...]) -> None:
        """One blade; the row as in ``Leaves``."""
        self._leaves.setdefault((form, colour), []).append(row)

    def stem(self, path: Array, thick: float, thin: float, colour: Rgb, hairy: bool = False) -> None:
        """One stem, stalk or runner."""
        self._stems.append(Stem(path, thick, thin, colour, hairy))

    def blossom(
        self, form: FlowerForm, centre: tuple[float, float, float], facing: Array, radius: float, variant: int
    ) -> None:
        """One flower, head or fruit."""
        x, y, z = (facing / max(1e-9, float(np.linalg.norm(facing)))).tolist()
        self._blossoms.append(Blossom(form, centre, (x, y, z), radius, variant))

    def flake(self, row: tuple[float, ...], pointed: bool = True) -> None:
        """One small piece; the row as in ``Flakes``."""
        (self._flakes if pointed else self._round_flakes).append(row)

    def bristle(self, row: tuple[float, ...]) -> None:
        """One fine line; the row as in ``Bristles``."""
        self._bristles.append(row)

    def done(self) -> Plant:
        """The plant as it stands."""
        leaves = tuple(Leaves(form, tone, np.array(rows)) for (form, tone), rows in self._leaves.items())
        places = [batch.rows[:, :3] + _reach(batch.rows) for batch in leaves] + [stem.path for stem in self._stems]
        places += [np.array([blossom.centre]) for blossom in self._blossoms]
        where = np.concatenate(places) if places else np.zeros((1, 3))
        flakes = ((self._flakes, True), (self._round_flakes, False))
        return Plant(
            leaves,
            tuple(self._stems),
            tuple(self._blossoms),
            tuple(Flakes(np.array(rows), pointed) for rows, pointed in flakes if rows),
            (Bristles(np.array(self._bristles)),) if self._bristles else (),
            float(np.percentile(np.hypot(where[:, 0], where[:, 1]), 92)) + 1.0,
            float(np.percentile(where[:, 2], 98)) + 1.0,
        )


def _reach(rows: Array) -> Array:
    """From the base of each blade to its tip."""
    turn, rise, length, droop = rows[:, 3], rows[:, 4], rows[:, 5], rows[:, 6]
    out = np.cos(rise) + 0.5 * droop * np.sin(rise)
    up = np.sin(rise) - 0.5 * droop * np.cos(rise)
    return np.stack([out * np.cos(turn), out * np.sin(turn), up], axis=1) * length[:, None]
