"""What of the plant is there to be seen: which questions that leaves, and what it says of the species by itself."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from model.errors import AnswerError, nearest
from model.flora.character import PARTS, Character, Part
from model.flora.load import Flora
from model.traits.observer import Age, Found, Observer

Array = NDArray[np.float64]
Visible = tuple[Part, ...]
Given = TypeVar("Given")
VISIBLE = "visible"  # its name in an answer file, where no character is called so


def check_visible(given: object) -> Visible:
    """The parts that can be seen or reached, in the order of PARTS.

    ``given``: a list of names, or one text with commas. Raises AnswerError for an unknown name, or for none at all.

    >>> check_visible("roots, leaves")
    ('leaves', 'roots')
    """
    names = given.split(",") if isinstance(given, str) else given
    if not isinstance(names, list | tuple) or not names:
        raise AnswerError(f"visible: name what can be seen, one or more of {', '.join(PARTS)}")
    asked = [name.strip() if isinstance(name, str) else name for name in names]
    for name in asked:
        if name not in PARTS:
            raise AnswerError(f"visible: {str(name)[:60]!r} is no part of a plant that is asked about; {_close(name)}")
    return tuple(part for part in PARTS if part in asked)


def _close(name: object) -> str:
    return nearest(str(name)[:60], PARTS)


def age(visible: Visible | None) -> Age:
    """How old the plant is, by what can be seen of it."""
    if visible is None:
        return "untold"
    return "seeds" if "seeds" in visible else "flowers" if "flowers" in visible else "leaves"


def out_of_sight(characters: Mapping[str, Character], visible: Visible | None) -> frozenset[str]:
    """Characters of parts that are not there, or no longer, and those that depend on such a character."""
    if visible is None:
        return frozenset()
    grown = "flowers" in visible or "seeds" in visible
    hidden = {c.id for c in characters.values() if c.part not in visible or (grown and c.until is not None)}
    while more := {c.id for c in characters.values() if c.id not in hidden and hidden & set(c.applies_when)}:
        hidden |= more
    return frozenset(hidden)


def in_sight(answers: Mapping[str, Given], hidden: Collection[str]) -> dict[str, Given]:
    """The answers that still count: those on characters that can be seen."""
    return {c: answer for c, answer in answers.items() if c not in hidden}


def visible_log_likelihood(
    flora: Flora, observer: Observer, visible: Visible | None, month: int | None, dated: bool = False
) -> Array:
    """ln P(flowers and seed are there to be seen, or are not | hypothesis), float (species + 1,), last is unlisted.

    By the months of the species files, softly; ``month`` is 1-12 as these files count, None for any in which the plant
    is to be seen. ``dated``: the month of flowering was answered too, which says the same of flowers and more. Zeros
    when nothing was told.
    """
    total = np.zeros(len(flora.ids) + 1)
    if visible is None:
        return total
    if not dated:
        total += _log_share(_chance(flora, "flowers", observer.found["flowers"], month), "flowers" in visible)
    return total + _log_share(_chance(flora, "seeds", observer.found["seeds"], month), "seeds" in visible)


def _chance(flora: Flora, part: Literal["flowers", "seeds"], found: Found, month: int | None) -> Array:
    """P(the part is there), float (species,); the middle of all where a file does not say."""
    bearing = flora.calendar[part]
    shares = np.where(bearing, found.in_season, found.out_of_season)
    seen = flora.calendar["seen"]
    chance = (shares * seen).sum(axis=1) / seen.sum(axis=1) if month is None else shares[:, month - 1]
    # A file without months of seed does not know them; one without months of flowers is of a plant that has none.
    known = bearing.any(axis=1) | (part == "flowers")
    return np.where(known, chance, chance[known].mean() if known.any() else found.in_season)


def _log_share(chance: Array, there: bool) -> Array:
    chance = np.append(chance, chance.mean())
    return np.asarray(np.log(chance if there else 1 - chance))
