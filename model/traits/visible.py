"""Which parts of the plant can be seen: the questions left to ask, and the evidence of flowers and seed."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from model.errors import AnswerError, nearest
from model.flora.character import PARTS, Character, Visible
from model.flora.load import Flora
from model.traits.observer import Age, Found, Observer

Array = NDArray[np.float64]
Given = TypeVar("Given")


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
            text = str(name)[:60]
            raise AnswerError(f"visible: {text!r} is not a part that the key asks about; {nearest(text, PARTS)}")
    return tuple(part for part in PARTS if part in asked)


def age(visible: Visible | None) -> Age:
    """How old the plant is, from the parts that can be seen."""
    if visible is None:
        return "unknown"
    return "seeds" if "seeds" in visible else "flowers" if "flowers" in visible else "leaves"


def out_of_sight(characters: Mapping[str, Character], visible: Visible | None) -> frozenset[str]:
    """Characters of parts that cannot be seen, or no longer, and those that depend on such a character."""
    if visible is None:
        return frozenset()
    grown = "flowers" in visible or "seeds" in visible
    hidden = {c.id for c in characters.values() if c.part not in visible or (grown and c.until is not None)}
    while more := {c.id for c in characters.values() if c.id not in hidden and hidden & set(c.applies_when)}:
        hidden |= more
    return frozenset(hidden)


def in_sight(answers: Mapping[str, Given], hidden: Collection[str]) -> dict[str, Given]:
    """The answers that count: those on characters that can be seen."""
    return {c: answer for c, answer in answers.items() if c not in hidden}


def visible_log_likelihood(
    flora: Flora, observer: Observer, visible: Visible | None, month: int | None, dated: bool = False
) -> Array:
    """ln P(flowers and seed are present, or absent | hypothesis), float (species + 1,), last is unlisted.

    From the months of the species files, which are never certain; ``month`` is 1-12 of their calendar, None for any in
    which the plant can be seen. ``dated``: the month of flowering was answered too, which is stronger evidence of the
    same. Zeros where ``visible`` was not given.
    """
    total = np.zeros(len(flora.ids) + 1)
    if visible is None:
        return total
    if not dated:
        total += _log_share(_chance(flora, "flowers", observer.found["flowers"], month), "flowers" in visible)
    return total + _log_share(_chance(flora, "seeds", observer.found["seeds"], month), "seeds" in visible)


def _chance(flora: Flora, part: Literal["flowers", "seeds"], found: Found, month: int | None) -> Array:
    """P(the part is present), float (species,); the mean of all where a file does not say."""
    in_month = flora.calendar[part]
    shares = np.where(in_month, found.in_season, found.out_of_season)
    seen = flora.calendar["seen"]
    chance = (shares * seen).sum(axis=1) / seen.sum(axis=1) if month is None else shares[:, month - 1]
    # In a file without months, those of seed are unknown, but a plant without flowers has none.
    known = in_month.any(axis=1) | (part == "flowers")
    return np.where(known, chance, chance[known].mean() if known.any() else found.in_season)


def _log_share(chance: Array, there: bool) -> Array:
    chance = np.append(chance, chance.mean())
    return np.asarray(np.log(chance if there else 1 - chance))
