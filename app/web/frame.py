"""The frame that every page has: templates with everything escaped, the head line, and the way through the steps."""

from __future__ import annotations

import hashlib
import itertools
import re
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from math import isfinite
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from app.present.finding import day_text, moment_text, share
from app.records.serialization import canonical, plain
from app.services import choices
from app.services.home import home, is_demo, why_unsaved
from app.web.draft import Draft
from model.control.year import MONTHS, spans
from model.errors import SwardkeyError

HERE = Path(__file__).parent
NAVIGATION = (
    ("/", "Name a weed"),
    ("/flora", "Flora"),
    ("/records", "Records"),
    ("/training", "Learn"),
    ("/key", "Key"),
)
LONGEST = 4000  # characters of one field
Fields = Mapping[str, Sequence[str]]
Address = dict[str, str]  # the values in the query of an address
_turns = itertools.count(1)

templates = Environment(
    loader=FileSystemLoader(HERE / "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


def for_pages(text: str) -> str:
    """A sentence without options of the command line, which the pages do not have, and the folders of this machine.

    >>> for_pages("rain was not given; give it (--rain-in, or a column rain)")
    'rain was not given; give it'
    """
    folders = "|".join(re.escape(str(folder)) for folder in {home(), home().resolve()})
    text = re.sub(rf"({folders})/((uploads/(waiting/)?[\w-]+|backups)/)?", "", text)
    return re.sub(r" \(--[^)]*\)|(?<= )--(?=[a-z])", "", text)


def minutes_text(seconds: float) -> str:
    """How long something takes, as people say it.

    >>> minutes_text(9), minutes_text(100), minutes_text(8000)
    ('9 s', '2 min', '2 h 13 min')
    """
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60} min"


templates.filters |= {
    "minutes": minutes_text,
    "dialled": lambda phone: re.sub(r"[^0-9+*#]", "", phone),
    "plain": for_pages,
    "share": share,
    "spans": spans,
    "day": day_text,
    "moment": moment_text,
    "percent": lambda p: f"{100 * p:.1f}",
    "zipped": lambda names: [(n, n) for n in names],
}
templates.globals |= {"MONTHS": MONTHS}


class FormError(SwardkeyError):
    """A form does not hold what it must. The message says which field and what to do."""


def render(template: str, **values: Any) -> str:
    """One template filled in. ``turn`` differs at each call, so that the page always sees a change."""
    return templates.get_template(template).render(turn=next(_turns), **values)


def head(
    here: str,
    draft: Draft | None = None,
    notices: Sequence[str] = (),
    address: Mapping[str, str] | None = None,
    steps: Sequence[Mapping[str, Any]] = (),
    kept: bool = True,
    called: str = "",
) -> str:
    """Head line, places, the steps of a draft, and notices; for the top of a page.

    ``address``: what the browser is to show behind the place's own address. ``steps``: those of the draft, in their
    order. ``kept``: whether the draft is saved, so that the address may name it. ``called``: what the plant is called
    among those to go on with.
    """
    query = None if address is None else urlencode(address)
    return render(
        "head.html",
        navigation=NAVIGATION,
        here=here,
        draft=draft,
        at=next((step["title"] for step in steps if step["here"]), ""),
        called=called,
        steps=list(steps) if len(steps) > 1 else [],
        kept=kept,
        notices=list(notices),
        query=query,
        demo=is_demo(home()),
        unsaved=why_unsaved(),
    )


class Fault(str):
    """A notice that something could not be done; other notices only tell what was."""

    is_fault = True


def fault(text: str) -> Fault:
    """A message of an error as a whole sentence of the pages."""
    text = for_pages(text)
    text = text[:1].upper() + text[1:] if not text.split(" ")[0].endswith(":") else text
    return Fault(text if text.endswith((".", "?", "!")) else f"{text}.")


def read_fields(given: object) -> Fields:
    """The fields of a form from the page: names to lists of texts. Raises FormError for anything else."""
    if not isinstance(given, Mapping):
        return {}
    found = {}
    for name, value in given.items():
        values = value if isinstance(value, list) else [value]
        if not all(isinstance(text, str) for text in values):
            raise FormError(f"{name}: is not text; fill the field in again")
        if any(len(text) > LONGEST for text in values):
            raise FormError(f"{name}: is longer than {LONGEST} characters; shorten it")
        found[without_surrogates(str(name))] = [without_surrogates(text.strip()) for text in values]
    return found


def without_surrogates(text: str) -> str:
    """A text in which half a character, as only a broken script sends, is a question mark."""
    return text.encode("utf-8", "replace").decode("utf-8")


def one(fields: Fields, name: str) -> str:
    """The text of a field, "" where it is empty or not there."""
    return (fields.get(name) or [""])[0]


def several(fields: Fields, name: str) -> tuple[str, ...]:
    """The texts of a field that may be there more than once."""
    return tuple(text for text in fields.get(name, ()) if text)


def seen(*entries: Any) -> str:
    """What a form keeps of the entries of the records that it shows: 16 hex digits, others once an entry changes."""
    return hashlib.sha256(canonical([plain(entry) for entry in entries]).encode()).hexdigest()[:16]


def refuse_unseen(fields: Fields, *entries: Any) -> None:
    """Raises FormError where somebody else has changed the entries since the page with the form was loaded."""
    if one(fields, "seen") not in ("", seen(*entries)):
        raise FormError(
            "Somebody else changed this after you opened it, so nothing was saved yet. It is up to date now, with what "
            "you typed still in its place: check it, then do that again."
        )


def row_number(text: str, what: str) -> int:
    """The number of a visit, a site or a treatment in an address or on a button. Raises FormError for anything else."""
    if not (text.isascii() and text.isdigit() and len(text) < 16):
        raise FormError(f'There is no {what} "{text[:20]}" in the records; choose one that is listed.')
    return int(text)


def number(fields: Fields, name: str, called: str) -> float | None:
    """The number in a field, None where it is empty. Raises FormError naming the field."""
    text = one(fields, name).replace(",", ".")
    if not text:
        return None
    with suppress(ValueError):
        if isfinite(value := float(text)):
            return value
    raise FormError(f"{called}: {text} is not a number; write digits only, such as 12.5")


def month_in(text: str) -> int | None:
    """The month in an address, 1 to 12; None for anything else.

    >>> month_in("7"), month_in("07"), month_in("July")
    (7, None, None)
    """
    return next((month for month in range(1, 13) if text == str(month)), None)


def go_to(step: str) -> Callable[[object, Draft, Fields, str], Draft]:
    """The action of a button that only goes on to a step."""
    return lambda context, draft, fields, which: draft.at(step)


def month_of(fields: Fields) -> int | None:
    """The month in a form, None where none was given. Raises AnswerError for what is none."""
    return choices.month_of(one(fields, "month")) if one(fields, "month") else None
