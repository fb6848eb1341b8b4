"""The journal: what each row of the book was when swardkey last wrote it, in a chain of hashes.

A row that another program changed, added or removed is not as the journal has it. Only hashes are kept, so nothing of
a client who is removed stays. Anyone who knows how rows are hashed can make the whole journal anew: against that, its
mark on a paper or in a backup that lies elsewhere helps, see book_mark.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections import Counter
from collections.abc import Iterator, Sequence

from app.records.chain import mark_of

# The tables it covers, and what a row of each is called.
TABLES = {
    "clients": "client",
    "sites": "site",
    "visits": "visit",
    "photos": "photo",
    "findings": "finding",
    "plans": "plan",
    "treatments": "treatment",
    "follow_ups": "follow-up",
    "groups_used": "note of a group used",
    "signed": "signed row",
    "notes": "note",
}
KEYS = {"signed": "sequence", "notes": "name"}  # of all others, the key is the id
OWN_NOTES = {"profile": "your details", "products": "your list of products"}  # of the notes, those that people make
CHANGED_OUTSIDE = "foreign "  # before the hash of a row that another program changed and swardkey then wrote over
ENTRIES = "SELECT sequence, sha256 FROM journal ORDER BY sequence"


def note(connection: sqlite3.Connection, table: str, *keys: int | str) -> None:
    """Write down what rows are now, or that they are gone; in the transaction that changed them."""
    for key in keys:
        row = connection.execute(f"SELECT * FROM {table} WHERE {_key(table)} = ?", (key,)).fetchone()
        _append(connection, table, str(key), len(row) if row else 0, hash_of(row) if row else "")


def note_outside_change(connection: sqlite3.Connection, table: str, key: int | str) -> None:
    """Write down where another program changed a row that is about to be written over, or else it would not show."""
    row = connection.execute(f"SELECT * FROM {table} WHERE {_key(table)} = ?", (key,)).fetchone()
    sql = 'SELECT columns, content FROM journal WHERE "table" = ? AND row = ? ORDER BY sequence DESC LIMIT 1'
    last = connection.execute(sql, (table, str(key))).fetchone()
    if row and (not last or hash_of(tuple(row)[: last[0]]) != last[1]):
        _append(connection, table, str(key), len(row), CHANGED_OUTSIDE + hash_of(row))


def begin(connection: sqlite3.Connection) -> None:
    """Write down all that a book of an earlier version holds, as it is now."""
    for table in TABLES:
        note(connection, table, *_rows(connection, table))


def hash_of(row: Sequence[object]) -> str:
    """The sha256 of the values of a row, or of an entry with the hash of the one before, in their order."""
    # Also of what only another program would write, such as bytes.
    text = json.dumps(list(row), separators=(",", ":"), default=repr)
    return hashlib.sha256(text.encode()).hexdigest()


def mark(connection: sqlite3.Connection) -> str:
    """The mark of the book: how many entries the journal has and the hash of the last; "" while there is none."""
    return mark_of([tuple(row) for row in connection.execute(f"{ENTRIES} DESC LIMIT 1")])


def faults(connection: sqlite3.Connection) -> list[str]:
    """What another program did to the rows of the book, or to the journal itself, in sentences."""
    return [*_chain_faults(connection), *_row_faults(connection)]


def _chain_faults(connection: sqlite3.Connection) -> Iterator[str]:
    """Entries of the journal that were changed, left out or cut off at the end."""
    former, place = "", 0
    for place, row in enumerate(map(tuple, connection.execute("SELECT * FROM journal ORDER BY sequence")), start=1):
        if row[0] != place:
            yield f"journal entry {row[0]}: entries before it are missing"
            return
        if row[-2] != former or hash_of(row[:-1]) != row[-1]:
            yield f"journal entry {place}: is not what was written"
        former = row[-1]
    noted = connection.execute("SELECT value FROM notes WHERE name = 'journal'").fetchone()
    if (noted[0] if noted else "") != (f"{place} {former}" if place else ""):
        yield "the last entries of the journal are missing: the book was cut back to an earlier state"


def _row_faults(connection: sqlite3.Connection) -> Iterator[str]:
    """Which rows are not what swardkey last wrote."""
    sql = 'SELECT "table", row, columns, content FROM journal ORDER BY sequence'
    entries = [tuple(row) for row in connection.execute(sql)]
    noted = {(row[0], row[1]): (row[2], row[3]) for row in entries}
    outside = Counter((row[0], row[1]) for row in entries if row[3].startswith(CHANGED_OUTSIDE))
    for (table, key), count in outside.items():
        often = f" {count} times" if count > 1 else ""
        yield f"{_title(table, key)}: was changed by another program{often} before swardkey wrote it again"
    for table in TABLES:
        there = _rows(connection, table)
        for key, row in there.items():
            columns, content = noted.get((table, str(key)), (0, ""))
            if not content:
                yield f"{_title(table, key)}: was added by another program"
            elif hash_of(row[:columns]) != content:  # a later version may have added columns
                yield f"{_title(table, key)}: was changed by another program"
        keys = set(map(str, there))
        for (of, key), (_, content) in noted.items():
            if of == table and content and key not in keys:
                yield f"{_title(table, key)}: was removed by another program"


def _append(connection: sqlite3.Connection, *entry: object) -> None:
    last = connection.execute(f"{ENTRIES} DESC LIMIT 1").fetchone()
    sequence, former = (last[0] + 1, last[1]) if last else (1, "")
    chained = (sequence, *entry, former)
    connection.execute("INSERT INTO journal VALUES (?, ?, ?, ?, ?, ?, ?)", (*chained, hash_of(chained)))


def _rows(connection: sqlite3.Connection, table: str) -> dict[int | str, tuple[object, ...]]:
    """The rows that the journal covers, by their keys."""
    which = f"name IN ({', '.join(repr(name) for name in OWN_NOTES)})" if table == "notes" else "1"
    found = connection.execute(f"SELECT {_key(table)}, * FROM {table} WHERE {which} ORDER BY 1")
    return {row[0]: tuple(row[1:]) for row in map(tuple, found)}


def _key(table: str) -> str:
    return KEYS.get(table, "id")


def _title(table: str, key: int | str) -> str:
    return OWN_NOTES[str(key)] if table == "notes" else f"{TABLES[table]} {key}"
