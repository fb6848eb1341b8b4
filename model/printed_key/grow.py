"""Grow the printed key: divide the species again and again, then number the couplets."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from model.flora.load import Flora
from model.printed_key.choose_character import Division, Route, Rows, best_division, limits_of
from model.printed_key.lead import Couplet, Lead, number_text, states_text
from model.traits.likelihood import Likelihoods


@dataclass(frozen=True)
class Fork:
    """A couplet before it has a number: how it divides the plants, and where each lead goes."""

    division: Division
    goes: tuple[Fork | Rows, Fork | Rows]


def grow(likelihoods: Likelihoods, rows: Rows, month: int | None, route: Route | None = None) -> Fork | Rows:
    """The tree over some species; the species themselves where one is left or nothing divides them."""
    route = route or {}
    division = best_division(likelihoods, rows, route, month) if len(rows) > 1 else None
    if division is None:
        return rows
    name = division.character.id
    first, second = (
        grow(likelihoods, taken, month, {**route, name: branch})
        for taken, branch in zip(division.rows, division.branches, strict=True)
    )
    return Fork(division, (first, second))


def number(flora: Flora, tree: Fork | Rows) -> tuple[Couplet, ...]:
    """The couplets of a tree in the order of printing: each follows the lead that goes to it."""
    found: dict[int, Couplet] = {}
    if isinstance(tree, Fork):
        _number(flora, tree, None, found)
    return tuple(found[n] for n in sorted(found))


def _number(flora: Flora, fork: Fork, before: int | None, found: dict[int, Couplet]) -> int:
    here = len(found) + 1
    division = fork.division
    found[here] = Couplet(here, before, division.character, division.mostly, ())
    leads = []
    for which, goes in enumerate(fork.goes):
        couplet = _number(flora, goes, here, found) if isinstance(goes, Fork) else None
        leads.append(_lead(flora, division, which, couplet, () if isinstance(goes, Fork) else goes))
    found[here] = Couplet(here, before, division.character, division.mostly, tuple(leads))
    return here


def _lead(flora: Flora, division: Division, which: int, couplet: int | None, rows: Rows) -> Lead:
    own, other = division.branches[which], division.branches[1 - which]
    species = tuple(flora.ids[row] for row in rows)
    look_at = how_to_separate(flora, species)
    character = division.character
    if character.kind == "choice":
        states = tuple(str(state) for state in own)
        text = states_text(character, states, len(other))
        return Lead(text, states=states, couplet=couplet, species=species, look_at=look_at)
    above, to = limits_of(own)
    text = number_text(character, above, to, first=which == 0)
    low, high = above if above > 0 else None, to if to < inf else None
    return Lead(text, above=low, to=high, couplet=couplet, species=species, look_at=look_at)


def how_to_separate(flora: Flora, species: tuple[str, ...]) -> tuple[str, ...]:
    """How to tell a few species apart, from the notes on their look-alikes; empty for one species."""
    pairs = [(one, two) for i, one in enumerate(species) for two in species[i + 1 :]]
    entries = [flora.look_alike(one, two) for one, two in pairs]
    return tuple(dict.fromkeys(entry.note for entry in entries if entry is not None))
