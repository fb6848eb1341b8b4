"""Words that a person types, as the files of facts spell them."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date

from model.errors import AnswerError, nearest


def as_word(text: str) -> str:
    """A word as the configs spell it, however it was typed.

    >>> as_word(" Tall Fescue")
    'tall_fescue'
    """
    return re.sub(r"[ -]", "_", text.strip().casefold())


def one_of(option: str, word: str, known: Iterable[str]) -> str:
    """The word, once it is known. Raises AnswerError naming the option and the nearest known word."""
    words = list(known)
    if word not in words:
        raise AnswerError(f"{option} {word}: not known; {nearest(word, words)}")
    return word


def group_number(text: str) -> int:
    """A mode of action group: "4", or "Group 4". Raises AnswerError for anything else."""
    found = re.fullmatch(r"(?:group\s*)?(\d{1,2})", text.strip(), re.IGNORECASE)
    if found is None:
        raise AnswerError(f"{text!r} is not a group number; give the number on the label, such as 4")
    return int(found.group(1))


def date_of(text: str) -> date:
    """A date. Raises AnswerError where it is not written as 2026-03-01."""
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise AnswerError(f"{text!r} is not a date; give it as 2026-03-01") from None


def clock_time(text: str) -> float:
    """Hours since midnight, from 17 or 17:40. Raises SprayError where it is not a time."""
    # Imported here, since every command reads this module.
    from model.spray import read_clock

    return read_clock(text)
