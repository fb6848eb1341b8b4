"""A record's fields as a person writes them in a YAML file: every value stays exactly as it was typed."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any, TypeVar

import yaml

from app.records.doubts import QUESTIONS, is_key
from app.records.entries import Product, Reading, Treatment, Visit
from app.records.errors import RecordsError
from app.records.law import asked_in, field_names
from app.records.serialization import checked, plain
from app.services.choices import AREA_UNITS, DEGREES, PERCENT, SPEED, clock_time, date_of, state_of, without_unit
from model.errors import SwardkeyError, nearest
from model.file import read_file
from model.flora.load import check_keys, check_plain

LARGEST_BYTES = 200_000
NOT_IN_FILES = ("id", "visit", "site", "answered")  # given by where the record belongs or when it is signed
Entry = TypeVar("Entry", Treatment, Visit)

# Beside the law's own words for a field: how it is written, and what is not in the law.
HOW = {
    "day": "the date, as 28/11/2026; empty: the day of the visit",
    "started": "the start time, as 8:10 or 8.10 am",
    "finished": "the finish time, as 9:30 or 9.30 am",
    "gear": "hand_spray, powered_spray, spreader or wiper",
    "chemical": "no for hand work, mowing and mulch, which need no products or weather",
    "area_m2": "the area treated, in square metres",
    "groups": "the mode of action groups, from the label, as [4] or [6, 4]",
    "at": "the time of the reading, as 8:10 or 8.10 am",
    "temperature": "the temperature at the start, in °C",
    "notes": "anything else",
    "wind_speed": "the wind speed at the start, in km/h",
    "humidity": "the humidity at the start, in per cent; with the temperature it gives Delta T",
}
ALWAYS = HOW.keys() - {"wind_speed"} | {"actives"}  # asked for whatever the state


class _Text(yaml.BaseLoader):
    """Makes text of every value, so that `1.50` stays `1.50`; a key is given once."""

    def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Any, Any]:
        """The mapping. Raises yaml.YAMLError naming a key that is given twice."""
        check_keys(node)
        return dict(super().construct_mapping(node, deep))


def read_fields(file: Path) -> dict[str, Any]:
    """The fields in a file, all text, less those left empty. Raises RecordsError naming file and line."""
    try:
        text = read_file(file, LARGEST_BYTES).decode("utf-8-sig")
        check_plain(text)
        found = yaml.load(text, Loader=_Text)
    except OSError as error:
        raise RecordsError(f"{file}: {error.strerror or error}; give the file of one record") from None
    except UnicodeDecodeError:
        raise RecordsError(f"{file}: is not UTF-8 text; save it as UTF-8") from None
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        line = f" line {mark.line + 1}" if mark is not None else ""
        cause = getattr(error, "problem", None) or "unreadable"
        raise RecordsError(f"{file}{line}: is not valid YAML ({cause}); fix that line") from None
    if not isinstance(found, dict) or not found:
        raise RecordsError(f"{file}: holds no fields; write `field: text` on each line")
    return dict(_without_empty(found))


def _without_empty(found: Any) -> Any:
    """The same without what is empty, at any depth: a sheet that is filled in has lines to spare."""
    if isinstance(found, dict):
        kept = {name: _without_empty(value) for name, value in found.items()}
        return {name: value for name, value in kept.items() if value not in ("", {}, [])}
    if isinstance(found, list):
        return [value for value in map(_without_empty, found) if value not in ("", {}, [])]
    return found


def changed_by(entry: Entry, given: dict[str, Any], file: Path) -> Entry:
    """The entry with the fields of a file in place of its own. Raises RecordsError naming file and field."""
    known = [f.name for f in fields(entry) if f.name not in NOT_IN_FILES]
    if isinstance(entry, Treatment) and "answers" in given:
        given = {name: value for name, value in given.items() if name != "answers"} | {
            "answered": entry.answered | _answers(given["answers"], file)
        }
        known.append("answered")
    for name in given:
        if name not in known:
            raise RecordsError(f"{file}: {name} is not a field of this record; {nearest(name, known)}")
    try:
        return checked(type(entry), plain(entry) | _parsed(given))
    except RecordsError as error:
        raise RecordsError(f"{file}: {error}; fix that field") from None


def _answers(given: Any, file: Path) -> dict[str, Any]:
    """Answers to what is asked before it is signed, by the keys of the questions. Raises RecordsError."""
    if not isinstance(given, dict):
        raise RecordsError(f"{file}: answers: write each answer under the key of its question ({', '.join(QUESTIONS)})")
    for key in given:
        if not is_key(key):
            raise RecordsError(f"{file}: answers: {key} is not asked about; {nearest(key, QUESTIONS)}")
    return given


def _parsed(given: Mapping[str, Any]) -> dict[str, Any]:
    """Dates, times, states and numbers with their unit as the records write them; what is not one stays as typed."""
    meant = dict(given)
    for name, value in given.items():
        if isinstance(value, list) and name in ("products", "weather"):
            meant[name] = [_parsed(one) if isinstance(one, dict) else one for one in value]
        elif isinstance(value, str) and name in _READERS:
            try:
                meant[name] = _READERS[name](value.strip())
            except SwardkeyError:
                continue  # the check that follows says what it must be
    return meant


def _clock(text: str) -> str:
    minutes = round(clock_time(text) * 60)
    written = f"{minutes // 60:02d}:{minutes % 60:02d}"
    return text if re.fullmatch(r"\d\d:\d\d.*\d", text) else written


_READERS: Mapping[str, Callable[[str], Any]] = {
    "day": lambda text: date_of(text).isoformat(),
    "started": _clock,
    "finished": _clock,
    "at": _clock,
    "state": state_of,
    "groups": lambda text: re.split(r"[\s,+&]+", text),
    "area_m2": without_unit(*AREA_UNITS),
    "water_litres": without_unit("l", "litres?"),
    "temperature": without_unit(*DEGREES),
    "delta_t": without_unit(*DEGREES),
    "humidity": without_unit(*PERCENT),
    "wind_speed": without_unit(*SPEED),
}


def blank_sheet(state: str) -> str:
    """A file of a treatment to fill in: every field that the state asks for, each explained. "" is a state unknown."""
    asked, words = {*asked_in(state), *ALWAYS}, field_names() | HOW

    def line(name: str, before: str = "") -> str:
        return f"{before}{name}:".ljust(24) + f"# {words.get(name, name.replace('_', ' '))}\n"

    where = state or "a state that is not named yet"
    text = f"# What was done, for a record in {where}. Leave empty what does not apply; then: swardkey records treat\n"
    text += "# VISIT FILE. Client, address and whoever visited are filled in from the book where they are left empty.\n"
    text += f"state: {state}\n"
    inner = {"products": Product, "weather": Reading}
    for name in (f.name for f in fields(Treatment) if f.name not in (*NOT_IN_FILES, "state", "left_out")):
        if name in inner:
            own = [one.name for one in fields(inner[name]) if one.name in asked - {"notes"}]
            title = (
                "each product; repeat the lines from the dash on for another one"
                if name == "products"
                else ("as measured on site: at the start, and again for each change")
            )
            text += f"{name}:".ljust(24) + f"# {title}\n"
            text += "".join(line(one, "    " if place else "  - ") for place, one in enumerate(own))
        elif name in asked:
            text += line(name)
    text += "answers:".ljust(24) + "# to what is asked before it is signed, where it applies; kept with the record;\n"
    text += " " * 24 + "# of the wind of a second reading, wind-2\n"
    text += "".join(f"  {key}:".ljust(24) + f"# {words}\n" for key, words in QUESTIONS.items())
    return text
