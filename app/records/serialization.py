"""Entries as rows of the tables and as canonical JSON, validated on the way in and on the way out."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import asdict
from functools import lru_cache
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from app.records.entries import Client, FollowUp, GroupUse, Signed, Site, Treatment, Visit
from app.records.errors import RecordsError
from app.records.findings import KeptFinding, KeptPhoto, KeptPlan, in_pairs
from model.validation import first_cause

Entry = TypeVar("Entry")
TABLES: Mapping[type, str] = {
    Client: "clients",
    Site: "sites",
    Visit: "visits",
    KeptPhoto: "photos",
    KeptFinding: "findings",
    KeptPlan: "plans",
    Treatment: "treatments",
    FollowUp: "follow_ups",
    GroupUse: "groups_used",
    Signed: "signed",
}
_JSON_COLUMNS = frozenset({"near", "finding", "plan", "answers", "content"})
LONGEST = 4_000_000  # characters of one entry as JSON


_adapter: Callable[[Any], TypeAdapter[Any]] = lru_cache(maxsize=32)(TypeAdapter)


def checked(kind: type[Entry], fields: Mapping[str, Any]) -> Entry:
    """An entry from plain data. Raises RecordsError naming the field that is wrong."""
    try:
        found: Entry = _adapter(kind).validate_python(dict(fields))
    except ValidationError as error:
        raise RecordsError(f"{kind.__name__.casefold()}: {first_cause(error)}") from None
    return found


def rechecked(entry: Entry) -> Entry:
    """The same entry, once all in it is what it should be. Raises RecordsError."""
    return checked(type(entry), asdict(entry))  # type: ignore[call-overload]


def plain(entry: Any) -> dict[str, Any]:
    """An entry as data that JSON can hold."""
    found: dict[str, Any] = _adapter(type(entry)).dump_python(entry, mode="json")
    return found


def canonical(data: Any, sort_keys: bool = True) -> str:
    """JSON with one spelling for the same data; without ``sort_keys`` everything keeps its order.

    Raises RecordsError for what JSON cannot hold, or too much of it.
    """
    try:
        text = json.dumps(data, ensure_ascii=False, allow_nan=False, sort_keys=sort_keys, separators=(",", ":"))
    except (TypeError, ValueError, RecursionError) as error:
        raise RecordsError(f"something in it cannot be kept ({error}); give text and ordinary numbers") from None
    if len(text) > LONGEST:
        raise RecordsError(f"it is too long to be kept ({len(text)} characters, {LONGEST} at most); shorten it")
    return text


def columns(entry: Any) -> dict[str, Any]:
    """The entry's columns but its id; a treatment is one column of JSON beside its visit."""
    data = {name: value for name, value in plain(entry).items() if name != "id"}
    if isinstance(entry, Treatment):
        return {"visit": data.pop("visit"), "content": canonical(data)}
    # As given: pydantic would make null of a number that JSON cannot hold.
    given = {name: getattr(entry, name) for name in _JSON_COLUMNS & data.keys()}
    if isinstance(entry, KeptFinding):
        given["answers"] = in_pairs(entry.answers, entry.visible)
    return data | {name: canonical(value) for name, value in given.items()}


def entry_of(kind: type[Entry], row: sqlite3.Row) -> Entry:
    """The entry of a row."""
    found = {name: json.loads(value) if name in _JSON_COLUMNS else value for name, value in dict(row).items()}
    if kind is GroupUse:
        del found["id"]  # nothing refers to it
    return checked(kind, found | found.pop("content", {}))


def entry_of_json(kind: type[Entry], text: str) -> Entry:
    """The entry that a text of canonical JSON holds."""
    return checked(kind, json.loads(text))


def insert(connection: sqlite3.Connection, entry: Any, **more: str) -> int:
    """Add the entry's row, with ``more`` columns; its id."""
    found = columns(entry) | more
    names = ", ".join(f'"{name}"' for name in found)
    marks = ", ".join("?" for _ in found)
    added = connection.execute(f"INSERT INTO {TABLES[type(entry)]} ({names}) VALUES ({marks})", tuple(found.values()))
    return int(added.lastrowid or 0)


def update(connection: sqlite3.Connection, entry: Any) -> None:
    """Change the row of the entry's id. Raises RecordsError where there is none."""
    found, table = columns(entry), TABLES[type(entry)]
    names = ", ".join(f'"{name}" = ?' for name in found)
    done = connection.execute(f"UPDATE {table} SET {names} WHERE id = ?", (*found.values(), entry.id))
    if not done.rowcount:
        raise missing(table, entry.id)


def missing(table: str, number: int) -> RecordsError:
    """The error for a row that is not there."""
    return RecordsError(f"there is no {table[:-1].replace('_', ' ')} {number} in the records")
