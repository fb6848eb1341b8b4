"""The words by which clients, sites, visits and treatments are found again."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from typing import Any

from app.records.entries import Hit
from app.records.schema import INDEX

AROUND = 12  # words shown around what was found
LONGEST_SHOWN = 160


def put_words(connection: sqlite3.Connection, kind: str, record: int, site: int | None, content: Any) -> None:
    """Keep the words of a record, in place of those that it had."""
    indexed = _ready_index(connection)
    drop_words(connection, kind, record)
    text = " · ".join(texts_in(content))
    added = connection.execute(
        "INSERT INTO words (kind, record, site, text) VALUES (?, ?, ?, ?)", (kind, record, site, text)
    )
    if indexed:
        connection.execute("INSERT INTO words_index (rowid, text) VALUES (?, ?)", (added.lastrowid, text))


def drop_words(connection: sqlite3.Connection, kind: str, record: int) -> None:
    """Forget the words of a record."""
    row = connection.execute("SELECT id FROM words WHERE kind = ? AND record = ?", (kind, record)).fetchone()
    if row is None:
        return
    if _ready_index(connection):
        # The index reads the old text from the table, so it goes first.
        connection.execute("DELETE FROM words_index WHERE rowid = ?", (row[0],))
    connection.execute("DELETE FROM words WHERE id = ?", (row[0],))


def find(connection: sqlite3.Connection, text: str, most: int) -> list[Hit]:
    """Records in which every word of ``text`` occurs, as a whole or as a beginning; the best first."""
    terms = re.findall(r"[^\W_]+", text)
    if not terms:
        return []
    if has_index(connection) and not _is_stale(connection):
        asked = " ".join(f'"{term}"*' for term in terms)
        sql = (
            "SELECT kind, record, site, snippet(words_index, 0, '', '', '…', ?) AS shown FROM words_index "
            "JOIN words ON words.id = words_index.rowid WHERE words_index MATCH ? ORDER BY rank, record DESC LIMIT ?"
        )
        rows = connection.execute(sql, (AROUND, asked, most)).fetchall()
    else:
        like = " AND ".join("text LIKE ?" for _ in terms)
        patterns = [f"%{term}%" for term in terms]
        sql = f"SELECT kind, record, site, text AS shown FROM words WHERE {like} ORDER BY id DESC LIMIT ?"
        rows = connection.execute(sql, (*patterns, most)).fetchall()
    return [Hit(row["kind"], row["record"], row["site"], row["shown"][:LONGEST_SHOWN]) for row in rows]


def texts_in(content: Any) -> Iterator[str]:
    """Every text inside plain data that says something, in its order."""
    if isinstance(content, str):
        if content.strip():
            yield content.strip()
    elif isinstance(content, dict):
        for value in content.values():
            yield from texts_in(value)
    elif isinstance(content, list | tuple):
        for value in content:
            yield from texts_in(value)


def has_index(connection: sqlite3.Connection) -> bool:
    """Whether this SQLite can search by FTS5."""
    return connection.execute("SELECT 1 FROM pragma_module_list WHERE name = 'fts5'").fetchone() is not None


def _ready_index(connection: sqlite3.Connection) -> bool:
    """Make the index where it can be had and is not there or not up to date; whether it is there now.

    Where a SQLite without FTS5 writes, it is noted as stale, and the next one that has it rebuilds the index.
    """
    if not has_index(connection):
        connection.execute("INSERT OR REPLACE INTO notes VALUES ('words_index', 'stale')")
        return False
    if _is_stale(connection):
        if not _is_there(connection):
            connection.execute(INDEX)
        connection.execute("INSERT INTO words_index (words_index) VALUES ('rebuild')")
        connection.execute("INSERT OR REPLACE INTO notes VALUES ('words_index', 'ready')")
    return True


def _is_stale(connection: sqlite3.Connection) -> bool:
    row = connection.execute("SELECT value FROM notes WHERE name = 'words_index'").fetchone()
    return row is None or row[0] != "ready" or not _is_there(connection)


def _is_there(connection: sqlite3.Connection) -> bool:
    return connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'words_index'").fetchone() is not None
