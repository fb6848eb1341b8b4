"""A plant's year: its season, and the best months for each method of control."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from model.control.facts import Methods, Option, When
from model.control.knowledge import ON_THE_PLANT, Control
from model.flora.species import Score, Species, Standing

ALL_YEAR = tuple(range(1, 13))
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True)
class Year:
    """Months (1-12, southern hemisphere) of one species.

    ``stages``: germinates, flowers and seeds; empty where the files do not say. ``best``:
    method to the months in which it is best done.
    """

    species: str
    stages: dict[str, tuple[int, ...]]
    best: dict[str, tuple[int, ...]]

    def as_json(self) -> dict[str, Any]:
        """The same as plain data."""
        return {
            "species": self.species,
            "stages": {k: list(v) for k, v in self.stages.items()},
            "best_months": {k: list(v) for k, v in self.best.items()},
        }


@dataclass(frozen=True)
class Timing:
    """The months in which an option is best used, with their standing.

    ``computed``: worked out from the season of plant or lawn, and not given by a source.
    """

    months: tuple[int, ...]
    standing: Standing = "common practice"
    source: tuple[str, ...] = ("CP",)
    computed: bool = False

    def as_json(self) -> dict[str, Any]:
        """The same as plain data."""
        return {**vars(self), "months": list(self.months), "source": list(self.source)}


def year_of(control: Control, species: str, lawn: str = "unknown") -> Year:
    """The year of a species: its season, and the best months for each method in its plan on a lawn."""
    season = control.flora.species[species].season
    stages = {
        "germinates": in_order(season.germinates or ()),
        "flowers": in_order(season.flowers or ()),
        "seeds": in_order(season.seeds or ()),
    }
    best: dict[str, set[int]] = {}
    for option in control.options(species):
        best.setdefault(option.method, set()).update(timing_of(control, option, species, lawn).months)
    return Year(species, stages, {method: in_order(months) for method, months in best.items()})


def timing_of(control: Control, option: Option, species: str, lawn: str = "unknown") -> Timing:
    """When an option is best used on a plant in a lawn.

    Months that a source gives keep its standing; those worked out have at best that of the season and of the rule.
    """
    if option.months is not None:
        stands, given = option.months_from, set(option.months)
        if option.method in ON_THE_PLANT:
            # A kind's months are those of all its plants; this one may emerge later, or be gone sooner.
            given &= set(control.flora.species[species].season.seen)
        if stands is None:
            return Timing(in_order(given))
        return Timing(in_order(given), stands.standing, tuple(stands.source))
    if option.when == "lawn_grows":
        growing = control.lawns[lawn].growing
        if growing is None:
            return Timing(ALL_YEAR)
        return Timing(in_order(growing.months), growing.standing, tuple(growing.source), computed=True)
    assert option.when is not None
    plant = control.flora.species[species]
    months = best_months(option.when, plant, control.methods)
    if option.when == "any":
        return Timing(months)
    season = plant.season
    standing: Standing = "from memory" if season.standing == "from memory" else "common practice"
    return Timing(months, standing, tuple(season.source), computed=True)


def best_months(when: When, plant: Species, methods: Methods) -> tuple[int, ...]:
    """The months that ``when`` means for a plant, in seasonal order.

    Before flowering, or before seed, means the months of growth that lead up to it, never those after it.
    """
    season = plant.season
    seen, flowers, seeds = set(season.seen), set(season.flowers or ()), set(season.seeds or ())
    germinates = set(season.germinates or season.seen)
    if when in ("any", "lawn_grows"):
        return ALL_YEAR
    if when == "germination":
        return in_order(germinates)
    if when == "before_germination":
        # The month before it starts and the month in which it does.
        return in_order(month for start in starts(germinates) for month in (before(start), start))
    if when == "flowers":
        return in_order(flowers)
    if when == "before_flowers":
        return in_order(leading_up(seen, flowers, methods.growth_months) or seen)
    if when == "before_seed":
        return in_order(leading_up(seen, seeds, methods.growth_months) or seen)
    young = {after(month, step) for month in germinates for step in range(methods.young_months)} & seen
    return in_order((young - seeds) or young if _is_annual(plant) else young)


def leading_up(seen: set[int], event: set[int], longest: int) -> set[int]:
    """The months of growth before an event, at most ``longest``; its first month where the plant is not seen before.

    >>> sorted(leading_up({4, 5, 6, 7, 8, 9, 10}, {8, 9}, 5))
    [4, 5, 6, 7]
    >>> sorted(leading_up({8, 9}, {8, 9}, 5))
    [8]
    """
    found: set[int] = set()
    for start in starts(event):
        month = before(start)
        for _ in range(longest):
            if month not in seen or month in event:
                break
            found.add(month)
            month = before(month)
    return found or set(starts(event)) & seen


def _is_annual(plant: Species) -> bool:
    span = plant.characters.get("life_span")
    return isinstance(span, Score) and (span.states or {}).get("annual") in ("always", "usually")


def before(month: int) -> int:
    """The month before.

    >>> before(1)
    12
    """
    return (month - 2) % 12 + 1


def after(month: int, steps: int = 1) -> int:
    """The month some steps later.

    >>> after(11, 3)
    2
    """
    return (month - 1 + steps) % 12 + 1


def starts(months: Iterable[int]) -> list[int]:
    """The first months of the runs in a set of months; empty where it is the whole year.

    >>> starts({11, 12, 1, 5})
    [5, 11]
    """
    known = set(months)
    return sorted(m for m in known if before(m) not in known)


def in_order(months: Iterable[int]) -> tuple[int, ...]:
    """Months in seasonal order, across the end of the year.

    >>> in_order({1, 2, 11, 12})
    (11, 12, 1, 2)
    """
    return _in_order(frozenset(months))


@lru_cache(maxsize=4096)  # as many as there are sets of months
def _in_order(known: frozenset[int]) -> tuple[int, ...]:
    first = starts(known)
    if not first:
        return tuple(sorted(known))
    # Begin after the longest gap, so that a season is not cut in two by New Year.
    begin = max(first, key=lambda m: (_pause(m, known), -m))
    return tuple(m for m in (after(begin, step) for step in range(12)) if m in known)


def _pause(start: int, known: frozenset[int]) -> int:
    length, month = 0, before(start)
    while month not in known and length < 12:
        length, month = length + 1, before(month)
    return length


def spans(months: Iterable[int]) -> str:
    """Months in words.

    >>> spans((11, 12, 1, 5)), spans(range(1, 13)), spans(())
    ('May, Nov to Jan', 'all year', 'no month')
    """
    return _spans(frozenset(months))


@lru_cache(maxsize=4096)
def _spans(known: frozenset[int]) -> str:
    if len(known) == 12:
        return "all year"
    parts = []
    for start in starts(known):
        end = start
        while after(end) in known:
            end = after(end)
        parts.append(MONTHS[start - 1] if start == end else f"{MONTHS[start - 1]} to {MONTHS[end - 1]}")
    return ", ".join(parts) or "no month"


def next_month(months: Iterable[int], month: int) -> int | None:
    """The first of some months that comes after ``month``; None without any.

    >>> next_month((6, 7), 11), next_month((), 1)
    (6, None)
    """
    known = set(months)
    return next((m for m in (after(month, step) for step in range(1, 13)) if m in known), None)
