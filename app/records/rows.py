"""Entries as rows of the tables and as canonical JSON, checked on the way in and on the way out."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import asdict
from functools import lru_cache
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from app.records.kept import KeptFinding, in_pairs
from app.records.refusals import RecordsError
from model.flora.load import first_cause

Entry = TypeVar("Entry")
_JSON_COLUMNS = frozenset({"near", "finding", "plan", "answers"})
LONGEST = 4_000_000  # characters of one entry as JSON


_adapter: Callable[[Any], TypeAdapter[Any]] = lru_cache(maxsize=32)(TypeAdapter)


def checked(kind: type[Entry], fields: Mapping[str, Any]) -> Entry:
    """An entry from plain data. Raises RecordsError naming the field that is wrong."""
    try:
        found: Entry = _adapter(kind).validate_python(dict(fields))
    except ValidationError as error:
        told = first_cause(error).replace("Unexpected keyword argument", "no such field; check its spelling")
        told = told.replace("Value error, ", "")
        raise RecordsError(f"{kind.__name__.casefold()}: {told}") from None
    return found


def rechecked(entry: Entry) -> Entry:
    """The same entry, once all in it is what it should be. Raises RecordsError."""
    return checked(type(entry), asdict(entry))  # type: ignore[call-overload]


def plain(entry: Any) -> dict[str, Any]:
    """An entry as data that JSON can hold."""
    found: dict[str, Any] = _adapter(type(entry)).dump_python(entry, mode="json")
    return found


def canonical(data: Any) -> str:
    """JSON with one spelling for the same data. Raises RecordsError for what JSON cannot hold, or too much of it."""
    return _json(data, sort_keys=True)


def in_order(data: Any) -> str:
    """JSON in which everything keeps its order. Raises RecordsError as canonical does."""
    return _json(data, sort_keys=False)


def _json(data: Any, sort_keys: bool) -> str:
    try:
        text = json.dumps(data, ensure_ascii=False, allow_nan=False, sort_keys=sort_keys, separators=(",", ":"))
    except (TypeError, ValueError, RecursionError) as error:
        raise RecordsError(f"something in it cannot be kept ({error}); give text and ordinary numbers") from None
    if len(text) > LONGEST:
        raise RecordsError(f"it is too long to be kept ({len(text)} characters, {LONGEST} at most); shorten it")
    return text


def columns(entry: Any) -> dict[str, Any]:
    """The entry's columns but its id."""
    data = {name: value for name, value in plain(entry).items() if name != "id"}
    # As given: pydantic would make null of a number that JSON cannot hold.
    given = {name: getattr(entry, name) for name in _JSON_COLUMNS & data.keys()}
    if isinstance(entry, KeptFinding):
        given["answers"] = in_pairs(entry.answers, entry.visible)
    return data | {name: canonical(value) for name, value in given.items()}


def entry_of(kind: type[Entry], row: sqlite3.Row) -> Entry:
    """The entry of a row."""
    return checked(kind, {k: json.loads(row[k]) if k in _JSON_COLUMNS else row[k] for k in row.keys()})  # noqa: SIM118


def entry_of_json(kind: type[Entry], text: str, **also: Any) -> Entry:
    """The entry that a text of canonical JSON holds."""
    return checked(kind, json.loads(text) | also)


def insert(connection: sqlite3.Connection, table: str, entry: Any) -> int:
    """Add the entry's row; its id."""
    found = columns(entry)
    names = ", ".join(f'"{name}"' for name in found)
    marks = ", ".join("?" for _ in found)
    added = connection.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})", tuple(found.values()))
    return int(added.lastrowid or 0)


def update(connection: sqlite3.Connection, table: str, entry: Any) -> None:
    """Change the row of the entry's id. Raises RecordsError where there is none."""
    found = columns(entry)
    names = ", ".join(f'"{name}" = ?' for name in found)
    done = connection.execute(f"UPDATE {table} SET {names} WHERE id = ?", (*found.values(), entry.id))
    if not done.rowcount:
        raise RecordsError(f"there is no {table[:-1].replace('_', ' ')} {entry.id} in the records")
