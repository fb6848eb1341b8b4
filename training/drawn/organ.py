"""The parts of a plant in space, in mm: x right, y away, z up, the plant's foot at the origin.

A plant is a frozen list of such parts; painting never changes it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from training.drawn.colour import Rgb
from training.drawn.curve import Array, Place, unit
from training.drawn.flower import FlowerForm
from training.drawn.leaf import LeafForm
from training.drawn.traits import Shown


@dataclass(frozen=True)
class Leaves:
    """Blades of one form. Arrays have one row a blade; ``rows`` are base x, y, z (mm), turn
    and rise (rad) at the base, length (mm), droop, roll (rad), fold (rad), width factor, tone
    factor and variant.
    """

    form: LeafForm
    colour: Rgb
    rows: Array = field(repr=False)


@dataclass(frozen=True)
class Stem:
    """A line with thickness (mm) at its start and end; ``ridged`` along its length."""

    path: Array = field(repr=False)
    thick: float
    thin: float
    colour: Rgb
    ridged: bool = False


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

    leaves: tuple[Leaves, ...] = ()
    stems: tuple[Stem, ...] = ()
    blossoms: tuple[Blossom, ...] = ()
    flakes: tuple[Flakes, ...] = ()
    bristles: tuple[Bristles, ...] = ()
    spread: float = 0.0
    height: float = 0.0

    def points(self) -> list[Array]:
        """Points (n, 3) in mm all over the plant, for framing it."""
        found = [stem.path for stem in self.stems]
        for batch in self.leaves:
            found += [batch.rows[:, :3], batch.rows[:, :3] + _reach(batch.rows)]
        for blossom in self.blossoms:
            found += [np.array(blossom.centre) + blossom.radius * np.concatenate([np.eye(3), -np.eye(3)])]
        found += [flakes.rows[:, :3] for flakes in self.flakes]
        return found + [bristles.rows[:, 3:6] for bristles in self.bristles]


@dataclass(frozen=True)
class Foliage:
    """What the leaves of one plant share: their form, size (mm) and colour."""

    form: LeafForm
    length: float
    colour: Rgb
    stalk_colour: Rgb


@dataclass(frozen=True)
class Bloom:
    """What one plant bears: forms of the open flower and of the fruit, with their radii (mm)."""

    open: FlowerForm
    radius: float
    ripe: FlowerForm
    ripe_radius: float
    nodding: bool


class Growth:
    """A plant while it grows: what it shows, and the parts that it has so far; ``done`` freezes them.

    ``bloom``: None while it bears nothing. ``ripe``: share of the flowers that have gone to seed, 0..1.
    """

    def __init__(self, shown: Shown, leaves: Foliage, bloom: Bloom | None = None, ripe: float = 0.0) -> None:
        self.shown, self.leaves, self.bloom, self.ripe = shown, leaves, bloom, ripe
        self._blades: dict[tuple[LeafForm, Rgb], list[tuple[float, ...]]] = {}
        self._stems: list[Stem] = []
        self._blossoms: list[Blossom] = []
        self._flakes: tuple[list[tuple[float, ...]], list[tuple[float, ...]]] = ([], [])
        self._bristles: list[tuple[float, ...]] = []

    def blade(self, form: LeafForm, row: tuple[float, ...]) -> None:
        """One blade; the row as in ``Leaves``."""
        self._blades.setdefault((form, self.leaves.colour), []).append(row)

    def stem(self, path: Array, thick: float, thin: float, colour: Rgb | None = None) -> None:
        """One stem, stalk or runner, in the colour of the plant's stems unless another is given."""
        ridged = self.shown.state("stalk_ridged", "absent") == "present"
        self._stems.append(Stem(path, thick, thin, colour or self.shown.stem_colour, ridged))

    def blossom(self, form: FlowerForm, centre: Place, facing: Array, radius: float, variant: int) -> None:
        """One flower, head or fruit."""
        (x, y, z), (right, away, up) = (float(v) for v in centre), unit(facing).tolist()
        self._blossoms.append(Blossom(form, (x, y, z), (right, away, up), radius, variant))

    def flake(self, at: Place, way: Place, length: float, width: float, colour: Rgb, pointed: bool = False) -> None:
        """One small piece in the direction ``way``."""
        self._flakes[pointed].append((*at, *way, length, width, *colour))

    def bristle(self, start: Place, end: Place, colour: Rgb) -> None:
        """One fine line."""
        self._bristles.append((*start, *end, *colour))

    def done(self) -> Plant:
        """The plant as it stands."""
        leaves = tuple(Leaves(form, tone, np.array(rows)) for (form, tone), rows in self._blades.items())
        flakes = tuple(Flakes(np.array(rows), bool(i)) for i, rows in reversed([*enumerate(self._flakes)]) if rows)
        bristles = (Bristles(np.array(self._bristles)),) if self._bristles else ()
        return plant_of(leaves, tuple(self._stems), tuple(self._blossoms), flakes, bristles)


def plant_of(
    leaves: tuple[Leaves, ...],
    stems: tuple[Stem, ...] = (),
    blossoms: tuple[Blossom, ...] = (),
    flakes: tuple[Flakes, ...] = (),
    bristles: tuple[Bristles, ...] = (),
) -> Plant:
    """A plant of these parts, and how far they reach."""
    places = [batch.rows[:, :3] + _reach(batch.rows) for batch in leaves] + [stem.path for stem in stems]
    places += [np.array([blossom.centre]) for blossom in blossoms]
    where = np.concatenate(places) if places else np.zeros((1, 3))
    spread = float(np.percentile(np.hypot(where[:, 0], where[:, 1]), 92)) + 1.0
    return Plant(leaves, stems, blossoms, flakes, bristles, spread, float(np.percentile(where[:, 2], 98)) + 1.0)


def _reach(rows: Array) -> Array:
    """From the base of each blade to its tip."""
    turn, rise, length, droop = rows[:, 3], rows[:, 4], rows[:, 5], rows[:, 6]
    out = np.cos(rise) + 0.5 * droop * np.sin(rise)
    up = np.sin(rise) - 0.5 * droop * np.cos(rise)
    return np.stack([out * np.cos(turn), out * np.sin(turn), up], axis=1) * length[:, None]
