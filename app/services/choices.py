"""Words that a person types, as the files of facts spell them."""

from __future__ import annotations

import calendar
import re
from collections.abc import Callable, Iterable
from datetime import date
from typing import TYPE_CHECKING, get_args

from model.errors import AnswerError, nearest

if TYPE_CHECKING:
    from model.control import Control

STATES = {
    "new south wales": "NSW", "victoria": "VIC", "queensland": "QLD", "western australia": "WA",
    "south australia": "SA", "tasmania": "TAS", "australian capital territory": "ACT", "northern territory": "NT",
    "tassie": "TAS", "canberra": "ACT",
}  # fmt: skip


def as_word(text: str) -> str:
    """A word as the configs spell it, however it was typed.

    >>> as_word(" Tall Fescue")
    'tall_fescue'
    """
    return re.sub(r"[ -]", "_", text.strip().casefold())


def month_of(text: str) -> int:
    """A month by its number or its name, in full or cut short. Raises AnswerError for anything else.

    >>> month_of("5"), month_of("Sept"), month_of("november")
    (5, 9, 11)
    """
    word = text.strip().casefold().rstrip(".")
    if word.isdecimal() and len(word) < 3 and 1 <= int(word) <= 12:
        return int(word)
    found = [n for n in range(1, 13) if len(word) > 2 and calendar.month_name[n].casefold().startswith(word)]
    if len(found) != 1:
        raise AnswerError(f"{text!r} is not a month; give 1 to 12, or a name such as May")
    return found[0]


def state_of(text: str) -> str:
    """A state or territory by its letters or its name; what is not known stays as it was typed.

    >>> state_of("nsw"), state_of("Western Australia"), state_of("Vic.")
    ('NSW', 'WA', 'VIC')
    """
    word = re.sub(r"[\W_]+", " ", text).strip().casefold()
    return STATES.get(word, text.strip().upper().rstrip("."))


def lawn_of(control: Control, lawn: str | None, cultivar: str | None = None) -> tuple[str | None, str | None]:
    """The ids of a lawn grass and its cultivar, from what people call either; what is not known stays as it is."""
    found = control.lawn_named(lawn) if lawn else None
    grass, named = found or (lawn, None)
    if cultivar and grass:
        more = control.lawn_named(cultivar)
        named = more[1] or cultivar if more and more[0] == grass else cultivar
    return grass, named


def one_of(option: str, word: str, known: Iterable[str]) -> str:
    """The word, once it is known. Raises AnswerError naming the option and the nearest known word."""
    words = list(known)
    if word not in words:
        raise AnswerError(f"{option} {word}: not known; {nearest(word, words)}")
    return word


def near_of(things: Iterable[str]) -> tuple[str, ...]:
    """What is near a site, each once. Raises AnswerError for what the advice does not know."""
    from model.control.facts import Near  # only here: few commands ask it

    return tuple(dict.fromkeys(one_of("--near", thing, get_args(Near)) for thing in things))


def without_unit(*units: str) -> Callable[[str], str]:
    """A reader of numbers that takes off a unit written behind them: the one that the field is in.

    >>> without_unit("%", "per ?cent")("20 %"), without_unit("%")("20 m")
    ('20', '20 m')
    """
    pattern = re.compile(rf"([-+]?[0-9.]+)\s*(?:{'|'.join(units)})", re.IGNORECASE)
    return lambda text: found[1] if (found := pattern.fullmatch(text)) else text


def number_in(*units: str) -> Callable[[str], float]:
    """A number, with or without the unit that it is in. Raises AnswerError for anything else."""
    read = without_unit(*units)

    def number(text: str) -> float:
        try:
            return float(read(text.strip()))
        except ValueError:
            raise AnswerError(f"{text!r} is not a number; give one, such as 20") from None

    return number


AREA_UNITS = ("m2", "m²", r"sq\.? ?m", "square metres?")
DEGREES = ("°?C", "degrees?(?: C)?")
PERCENT = ("%", "per ?cent")
SPEED = ("km/h", "kmh", "kph")


def group_number(text: str) -> int:
    """A mode of action group: "4", or "Group 4". Raises AnswerError for anything else."""
    found = re.fullmatch(r"(?:group\s*)?(\d{1,2})", text.strip(), re.IGNORECASE)
    if found is None:
        raise AnswerError(f"{text!r} is not a group number; give the number on the label, such as 4")
    return int(found.group(1))


def date_of(text: str) -> date:
    """A date as 2026-03-01, or with the day first, as 1/3/2026 or 1 March 2026. Raises AnswerError.

    >>> str(date_of("28/11/2026")), str(date_of("28 Nov 2026")), str(date_of("1.3.26"))
    ('2026-11-28', '2026-11-28', '2026-03-01')
    """
    try:
        if found := re.fullmatch(
            r"(\d{1,2})(?:st|nd|rd|th)?[-/. ]+(\d{1,2}|[a-z]{3,9}\.?),?[-/. ]+(\d{4}|\d{2})", text.strip(), re.I
        ):
            year = int(found[3]) + (2000 if len(found[3]) == 2 else 0)
            return date(year, month_of(found[2]), int(found[1]))
        return date.fromisoformat(text.strip())
    except (ValueError, AnswerError):
        raise AnswerError(f"{text!r} is not a date; give it as 28/11/2026 or 2026-11-28") from None


def clock_time(text: str) -> float:
    """Hours since midnight, from 17 or 17:40. Raises SprayError where it is not a time."""
    # Imported here, since every command reads this module.
    from model.spray import read_clock

    return read_clock(text)
