"""Which character best divides the remaining plants, and into which two leads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import get_args

import numpy as np
from numpy.typing import NDArray

from model.flora.character import Character, Part
from model.flora.species import Frequency, Range, Score, Species, States
from model.traits.likelihood import Likelihoods, Table

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Rows = tuple[int, ...]
Branch = tuple[str, ...] | tuple[float, float]  # states, or a number: above, and up to
# What the couplets read so far leave open of each character.
Route = Mapping[str, Branch]

# Not visible on one visit: months and life spans take longer, and a weed that is noticed has lost its cotyledons.
NOT_ON_A_VISIT = frozenset({"flowering_month", "life_span", "cotyledons"})
MOST_STATES = 3  # that the shorter lead of a couplet names
MISREAD = 1.09  # factor by which a length may be misread without going wrong
LIMITS = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0)  # times powers of ten: easy on a ruler
LEAST_BITS = 0.03
OFTEN: tuple[Frequency, ...] = get_args(Frequency)  # the most frequent first
SCARCE: tuple[Part, ...] = ("leaves", "roots", "flowers", "seeds")  # scarcest last; roots can always be dug
IN_BOTH = 3  # power of how much longer plants in both leads make the key


@dataclass(frozen=True)
class Division:
    """A character that divides the remaining plants, with the rows that follow each lead (some both).

    ``mostly``: the leads hold for usual plants only, as nothing else divides these. ``bits``: expected information
    about the species. ``worth``: the bits for the time that they cost, with the part visible, less for plants in both
    leads.
    """

    character: Character
    branches: tuple[Branch, Branch]
    rows: tuple[Rows, Rows]
    mostly: bool
    bits: float
    worth: float


def best_division(likelihoods: Likelihoods, rows: Rows, route: Route, month: int | None) -> Division | None:
    """The best division of some species by one character; None where there is none.

    Only characters that all of them have and that are scored for all. One that is harder to see only where no easier
    one makes the same groups. ``month``: 1-12, or None.
    """
    for mostly in (False, True):
        found = _divisions(likelihoods, rows, route, month, mostly)
        if found:
            best = max(found, key=lambda division: division.worth)
            return _easier(likelihoods, rows, route, best) or best
    return None


def _easier(likelihoods: Likelihoods, rows: Rows, route: Route, best: Division) -> Division | None:
    """The easiest character that makes the same two groups with less effort, where there is one."""
    cost, needs = likelihoods.observer.cost, part_of(likelihoods, best.character)
    found = []
    for table in likelihoods.tables.values():
        character = table.character
        less = cost[character.effort] < cost[best.character.effort]
        at_hand = part_of(likelihoods, character) in ("leaves", needs)
        if less and at_hand and not (best.mostly and character.id in route) and usable(likelihoods, table, rows, route):
            tried = splits(likelihoods, table, rows, route, best.mostly)
            found += [] if tried is None else _same(character, rows, tried, best)
    return min(found, key=lambda division: (cost[division.character.effort], -division.bits), default=None)


def _same(character: Character, rows: Rows, tried: Splits, best: Division) -> list[Division]:
    """The divisions with the groups of ``best``."""
    groups = [np.isin(rows, group) for group in best.rows]
    bits = information(tried.share)
    return [
        replace(best, character=character, branches=branches, bits=float(bits[way]))
        for way, branches in enumerate(tried.branches)
        if bits[way] >= LEAST_BITS
        and all(
            (side == group).all()
            for side, group in zip((tried.to_first[way], tried.to_second[way]), groups, strict=True)
        )
    ]


def _divisions(likelihoods: Likelihoods, rows: Rows, route: Route, month: int | None, mostly: bool) -> list[Division]:
    """The best division by each usable character."""
    found = []
    for table, time in zip(likelihoods.tables.values(), likelihoods.times, strict=True):
        # A reader who saw an unusual state before would find neither lead if asked for the usual one again.
        asked = mostly and table.character.id in route
        if not asked and usable(likelihoods, table, rows, route):
            cost = float(time) / _seen(likelihoods, table.character, rows, month)
            best = _best(table.character, rows, splits(likelihoods, table, rows, route, mostly), mostly, cost)
            found += [best] if best is not None else []
    return found


def usable(likelihoods: Likelihoods, table: Table, rows: Rows, route: Route) -> bool:
    """Whether all the species have the part, given the route, and their files score it."""
    character = table.character
    if character.id in NOT_ON_A_VISIT or not table.known[list(rows)].all():
        return False
    return all(_has(likelihoods, character, row, route) for row in rows)


def _has(likelihoods: Likelihoods, character: Character, row: int, route: Route) -> bool:
    """Whether a usual plant of the species has the part, given the route."""
    if not likelihoods.tables[character.id].applicable[row]:
        return False
    for gate, states in character.applies_when.items():
        known = likelihoods.tables[gate].known[row]
        if not known or not set(shown(likelihoods, gate, row, route, mostly=True)) <= set(states):
            return False
        if not _has(likelihoods, likelihoods.flora.characters[gate], row, route):
            return False
    return True


def shown(likelihoods: Likelihoods, character: str, row: int, route: Route, mostly: bool) -> tuple[str, ...]:
    """States that a species shows usually (or else sometimes), at any age, as far as the route leaves them open."""
    states = states_of(_score(likelihoods, character, row))
    left = {state: often for state, often in states.items() if character not in route or state in route[character]}
    usual = [state for state, often in left.items() if often in ("always", "usually")]
    common = [state for state, often in left.items() if often != "rarely"]
    return tuple((usual if mostly else common) or common or left)


def _score(likelihoods: Likelihoods, character: str, row: int) -> Score:
    score = likelihoods.flora.species[likelihoods.flora.ids[row]].characters[character]
    assert isinstance(score, Score)
    return score


def states_of(score: Score) -> States:
    """The states that a plant shows at any age, each with the higher of its frequencies."""
    states, before = score.states or {}, score.before if isinstance(score.before, dict) else {}
    merged = {**before, **states}
    return {state: min((s[state] for s in (states, before) if state in s), key=OFTEN.index) for state in merged}


def range_of(score: Score) -> Range:
    """The span of a number at any age of the plant."""
    spans = [span for span in (score.range, score.before) if isinstance(span, tuple)] or [(1.0, 1.0)]
    return min(low for low, _ in spans), max(high for _, high in spans)


@dataclass(frozen=True)
class Splits:
    """Ways to divide some species by one character.

    ``branches``: the two of each way. ``share`` float (ways, species): chance that an observer follows the first.
    ``to_first``, ``to_second`` bool (ways, species): which species belong there.
    """

    branches: list[tuple[Branch, Branch]]
    share: Array
    to_first: Flags
    to_second: Flags


def splits(likelihoods: Likelihoods, table: Table, rows: Rows, route: Route, mostly: bool) -> Splits | None:
    """All ways to divide the species by one character; None where there is none."""
    by_kind = _by_states if table.character.kind == "choice" else _by_limits
    return by_kind(likelihoods, table, rows, route, mostly)


def _best(character: Character, rows: Rows, tried: Splits | None, mostly: bool, cost: float) -> Division | None:
    """The way that is worth most, of those in which each lead excludes some species."""
    if tried is None:
        return None
    bits = information(tried.share)
    doubled = tried.to_first.sum(axis=1) + tried.to_second.sum(axis=1)
    worth = bits * (len(rows) / doubled) ** IN_BOTH / cost
    divides = ~tried.to_first.all(axis=1) & ~tried.to_second.all(axis=1) & (bits >= LEAST_BITS)
    if not divides.any():
        return None
    best = int(np.where(divides, worth, -1.0).argmax())
    goes = [
        tuple(row for row, flag in zip(rows, side[best], strict=True) if flag)
        for side in (tried.to_first, tried.to_second)
    ]
    branches = tried.branches[best]
    return Division(character, branches, (goes[0], goes[1]), mostly, float(bits[best]), float(worth[best]))


def _by_states(likelihoods: Likelihoods, table: Table, rows: Rows, route: Route, mostly: bool) -> Splits | None:
    """Every pair of leads of which one names at most MOST_STATES of the remaining states."""
    states = [shown(likelihoods, table.character.id, row, route, mostly) for row in rows]
    left = [s for s in table.character.states if any(s in own for own in states)]
    named = [pick for size in range(1, min(MOST_STATES, len(left) - 1) + 1) for pick in combinations(left, size)]
    if not named:
        return None
    has = np.array([[s in own for s in left] for own in states], dtype=float)
    chance = table.rows[list(rows)][:, [table.column(s) for s in left]]
    chance = chance / chance.sum(axis=1, keepdims=True)
    picks = np.array([[s in pick for s in left] for pick in named], dtype=float)
    branches: list[tuple[Branch, Branch]] = [(pick, tuple(s for s in left if s not in pick)) for pick in named]
    return Splits(branches, picks @ chance.T, picks @ has.T > 0, (1 - picks) @ has.T > 0)


def _by_limits(likelihoods: Likelihoods, table: Table, rows: Rows, route: Route, mostly: bool) -> Splits | None:
    """Every pair of leads that divides a number at a limit that is easy to read."""
    character = table.character
    low, high = limits_of(route.get(character.id, (0.0, float("inf"))))
    readings = np.asarray(table.answers, dtype=float)
    still = (readings > low) & (readings <= high)
    tried = [limit for limit in easy_limits(character) if low < limit < high]
    limits = np.array([limit for limit in tried if (still & (readings <= limit)).any()])[:, None]
    limits = limits[(still & (readings > limits)).any(axis=1)] if len(limits) else limits
    if not len(limits):
        return None
    wider = 1.0 if mostly or character.unit == "count" else MISREAD
    spans = np.array([range_of(_score(likelihoods, character.id, row)) for row in rows])
    chance = table.rows[list(rows)] * still
    share = (readings <= limits) @ chance.T / chance.sum(axis=1)
    # Where the leads hold for usual plants, a range that begins at the limit is above it.
    to_first = (spans[:, 0] < limits) | (spans[:, 1] <= limits) if mostly else spans[:, 0] / wider <= limits
    branches: list[tuple[Branch, Branch]] = [((low, float(one)), (float(one), high)) for one in limits[:, 0]]
    return Splits(branches, share, to_first, spans[:, 1] * wider > limits)


def limits_of(branch: Branch) -> tuple[float, float]:
    """The limits of a branch that is one of a number: above, and up to."""
    low, high = branch
    assert isinstance(low, float) and isinstance(high, float)
    return low, high


def easy_limits(character: Character) -> Sequence[float]:
    """Limits in the domain of a number: whole for counts, easy on a ruler for lengths."""
    low, high = character.domain or (1.0, 1.0)
    if character.unit == "count":
        return [float(n) for n in range(int(low), int(min(high, 30)))]
    return [m * 10.0**power for power in (-1, 0, 1, 2) for m in LIMITS if low < m * 10.0**power < high]


def information(share: Array) -> Array:
    """Information about the species, all equally likely, from the choice of a lead, bits, float (ways,).

    ``share`` float (ways, species): chance that an observer of each follows the first lead.
    """
    return np.asarray(_entropy(share.mean(axis=-1)) - _entropy(share).mean(axis=-1))


def _entropy(p: Array) -> Array:
    inside = np.clip(p, 1e-12, 1 - 1e-12)
    return np.asarray(-(inside * np.log2(inside) + (1 - inside) * np.log2(1 - inside)))


def _seen(likelihoods: Likelihoods, character: Character, rows: Rows, month: int | None) -> float:
    """Share of the plants, or of their seasons, in which the part can be seen; never quite 0."""
    part = part_of(likelihoods, character)
    if part in ("leaves", "roots"):
        return 1.0
    plants = [likelihoods.flora.species[likelihoods.flora.ids[row]] for row in rows]
    return max(float(np.mean([_share(plant, part, month) for plant in plants])), 1e-6)


def _share(plant: Species, part: Part, month: int | None) -> float:
    season = plant.season
    there = set((season.flowers if part == "flowers" else season.seeds or season.flowers) or ())
    if month is not None:
        return float(month in there)
    return len(there & set(season.seen)) / len(season.seen)


def part_of(likelihoods: Likelihoods, character: Character) -> Part:
    """The scarcest part needed to see the character: its own, or that of a character it depends on."""
    gates = (part_of(likelihoods, likelihoods.flora.characters[gate]) for gate in character.applies_when)
    return max((character.part, *gates), key=SCARCE.index)
