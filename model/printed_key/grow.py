"""Grow the printed key: part the species again and again, then number the couplets."""

from __future__ import annotations

from dataclasses import dataclass
from math import isinf

from model.flora.load import Flora
from model.printed_key.choose_character import Parting, Rows, Way, best_parting, limits_of
from model.printed_key.lead import Couplet, Lead, number_text, states_text
from model.traits.likelihood import Likelihoods


@dataclass(frozen=True)
class Fork:
    """A couplet before it has a number: how it parts the plants, and what each lead goes to."""

    parting: Parting
    goes: tuple[Fork | Rows, Fork | Rows]


def grow(likelihoods: Likelihoods, rows: Rows, month: int | None, way: Way | None = None) -> Fork | Rows:
    """The tree over some species; the species themselves where one is left or nothing parts them."""
    way = way or {}
    parting = best_parting(likelihoods, rows, way, month) if len(rows) > 1 else None
    if parting is None:
        return rows
    name = parting.character.id
    first, second = (
        grow(likelihoods, taken, month, {**way, name: branch})
        for taken, branch in zip(parting.rows, parting.branches, strict=True)
    )
    return Fork(parting, (first, second))


def number(flora: Flora, tree: Fork | Rows) -> tuple[Couplet, ...]:
    """The couplets of a tree as they are printed: what a lead goes to follows it."""
    found: dict[int, Couplet] = {}
    if isinstance(tree, Fork):
        _number(flora, tree, None, found)
    return tuple(found[n] for n in sorted(found))


def _number(flora: Flora, fork: Fork, before: int | None, found: dict[int, Couplet]) -> int:
    here = len(found) + 1
    parting = fork.parting
    found[here] = Couplet(here, before, parting.character, parting.mostly, ())
    leads = []
    for which, goes in enumerate(fork.goes):
        couplet = _number(flora, goes, here, found) if isinstance(goes, Fork) else None
        leads.append(_lead(flora, parting, which, couplet, () if isinstance(goes, Fork) else goes))
    found[here] = Couplet(here, before, parting.character, parting.mostly, tuple(leads))
    return here


def _lead(flora: Flora, parting: Parting, which: int, couplet: int | None, rows: Rows) -> Lead:
    own, other = parting.branches[which], parting.branches[1 - which]
    species = tuple(flora.ids[row] for row in rows)
    look_at = what_parts(flora, species)
    character = parting.character
    if character.kind == "choice":
        states = tuple(str(state) for state in own)
        text = states_text(character, states, len(other))
        return Lead(text, states=states, couplet=couplet, species=species, look_at=look_at)
    above, to = limits_of(own)
    text = number_text(character, above, to, first=which == 0)
    return Lead(
        text,
        above=None if above <= 0 else above,
        to=None if isinf(to) else to,
        couplet=couplet,
        species=species,
        look_at=look_at,
    )


def what_parts(flora: Flora, species: tuple[str, ...]) -> tuple[str, ...]:
    """What tells a few species apart by the notes on their look-alikes; nothing for one species."""
    pairs = [(one, two) for i, one in enumerate(species) for two in species[i + 1 :]]
    entries = [flora.look_alike(one, two) for one, two in pairs]
    return tuple(dict.fromkeys(entry.note for entry in entries if entry is not None))
