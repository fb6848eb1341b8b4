"""A plant's year: in which months it does what, and when each way of control is at its best."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from model.control.facts import Option, When
from model.control.load import Control
from model.flora.species import Score, Species

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


def year_of(control: Control, species: str) -> Year:
    """The year of a species: its season, and the best months of each method that its plan has."""
    plant, young = control.flora.species[species], control.methods.young_months
    season = plant.season
    stages = {
        "germinates": in_order(season.germinates or ()),
        "flowers": in_order(season.flowers or ()),
        "seeds": in_order(season.seeds or ()),
    }
    best: dict[str, set[int]] = {}
    for option in control.options(species):
        best.setdefault(option.method, set()).update(best_months(option, plant, young))
    return Year(species, stages, {method: in_order(months) for method, months in best.items()})


def best_months(option: Option, plant: Species, young_months: int) -> tuple[int, ...]:
    """The months in which an option is best used on a plant, in the order in which they follow one another.

    ``young_months``: how many months from germination a plant counts as young; an annual that
    seeds is no longer young.
    """
    if option.months is not None:
        return in_order(option.months)
    assert option.when is not None
    return in_order(_timed(option.when, plant, young_months))


def _timed(when: When, plant: Species, young_months: int) -> set[int]:
    season = plant.season
    seen, flowers, seeds = set(season.seen), set(season.flowers or ()), set(season.seeds or ())
    germinates = set(season.germinates or season.seen)
    if when == "any":
        return set(ALL_YEAR)
    if when == "germination":
        return germinates
    if when == "before_germination":
        # The month before it starts and the month in which it does.
        return {month for start in starts(germinates) for month in (before(start), start)}
    if when == "flowers":
        return flowers
    if when == "before_flowers":
        return (seen - flowers) or seen
    if when == "before_seed":
        return (seen - seeds) or seen
    young = {after(month, step) for month in germinates for step in range(young_months)}
    return (young - seeds) or young if _is_annual(plant) else young


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
    """First months of the runs that a set of months consists of; none where it is the whole year.

    >>> starts({11, 12, 1, 5})
    [5, 11]
    """
    known = set(months)
    return sorted(m for m in known if before(m) not in known)


def in_order(months: Iterable[int]) -> tuple[int, ...]:
    """Months in the order in which they follow one another, over the turn of the year.

    >>> in_order({1, 2, 11, 12})
    (11, 12, 1, 2)
    """
    known = set(months)
    first = starts(known)
    if not first:
        return tuple(sorted(known))
    # Begin after the longest pause, so that a season is not cut in two by New Year.
    begin = max(first, key=lambda m: (_pause(m, known), -m))
    return tuple(m for m in (after(begin, step) for step in range(12)) if m in known)


def _pause(start: int, known: set[int]) -> int:
    length, month = 0, before(start)
    while month not in known and length < 12:
        length, month = length + 1, before(month)
    return length


def spans(months: Iterable[int]) -> str:
    """Months in words.

    >>> spans((11, 12, 1, 5)), spans(range(1, 13)), spans(())
    ('May, Nov to Jan', 'all year', 'no month')
    """
    known = set(months)
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
