"""The words by which clients, sites, visits and treatments are found again."""

from __future__ import annotations

import re
import sqlite3
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from app.records.entries import Hit
from app.records.errors import RecordsError
from app.records.schema import INDEX

LONGEST_SHOWN, BEFORE = 160, 40  # characters shown, and of these before what was found
MOST_WORDS, LONGEST_WORD = 8, 40  # words that are looked for, each once, and their characters; the rest is passed over
LONGEST_TEXT = 1000  # characters of what was typed
LONGEST_SEARCH = 2.0  # seconds


@dataclass(frozen=True)
class Words:
    """The text by which a record is found, and the site that it belongs to."""

    kind: str
    record: int
    site: int | None
    text: str


def words_of(kind: str, record: int, site: int | None, content: Any) -> Words:
    """The words in plain data of a record."""
    return Words(kind, record, site, " · ".join(texts_in(content)))


def save_words(connection: sqlite3.Connection, words: Words) -> None:
    """Keep the words of a record, in place of those that it had."""
    indexed = _update_index(connection)
    drop_words(connection, words.kind, words.record)
    added = connection.execute(
        "INSERT INTO words (kind, record, site, text) VALUES (?, ?, ?, ?)",
        (words.kind, words.record, words.site, words.text),
    )
    if indexed:
        connection.execute("INSERT INTO words_index (rowid, text) VALUES (?, ?)", (added.lastrowid, words.text))


def wrong_words(connection: sqlite3.Connection, all_words: Iterable[Words]) -> Iterator[str]:
    """What is found by words that are not those of its record, or not at all, such as "visit 3"."""
    right = {(one.kind, one.record): one for one in all_words}
    found = connection.execute("SELECT kind, record, site, text FROM words").fetchall()
    there = {(one.kind, one.record): one for one in (Words(*row) for row in found)}
    for kind, record in sorted({*right, *there}):
        if right.get((kind, record)) != there.get((kind, record)):
            yield f"{kind} {record}"


def index_is_wrong(connection: sqlite3.Connection) -> bool:
    """Whether the index, where there is one, holds other words than the table that it is made from."""
    if not has_index(connection) or _index_is_stale(connection):
        return False
    try:
        connection.execute("INSERT INTO words_index (words_index, rank) VALUES ('integrity-check', 1)")
    except sqlite3.DatabaseError as error:
        return error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_CORRUPT
    return False


def rebuild_words(connection: sqlite3.Connection, all_words: Iterable[Words]) -> None:
    """Make all words and their index again."""
    connection.execute("DELETE FROM words")
    for one in all_words:
        connection.execute(
            "INSERT INTO words (kind, record, site, text) VALUES (?, ?, ?, ?)",
            (one.kind, one.record, one.site, one.text),
        )
    connection.execute("INSERT OR REPLACE INTO notes VALUES ('words_index', 'stale'), ('words', 'ready')")
    _update_index(connection)


def words_are_stale(connection: sqlite3.Connection) -> bool:
    """Whether a migration left the words to be made again."""
    return connection.execute("SELECT 1 FROM notes WHERE name = 'words' AND value = 'stale'").fetchone() is not None


def drop_words(connection: sqlite3.Connection, kind: str, record: int) -> None:
    """Forget the words of a record."""
    row = connection.execute("SELECT id FROM words WHERE kind = ? AND record = ?", (kind, record)).fetchone()
    if row is None:
        return
    if _update_index(connection):
        # The index reads the old text from the table, so it goes first.
        connection.execute("DELETE FROM words_index WHERE rowid = ?", (row[0],))
    connection.execute("DELETE FROM words WHERE id = ?", (row[0],))


def find(connection: sqlite3.Connection, text: str, most: int) -> list[Hit]:
    """Records in which every word of ``text`` occurs, as a whole or as a beginning; the best first."""
    words = (word.lower()[:LONGEST_WORD] for word in re.findall(r"[^\W_]+", text[:LONGEST_TEXT]))
    terms = list(dict.fromkeys(words))[:MOST_WORDS]
    if not terms:
        return []
    if has_index(connection) and not _index_is_stale(connection):
        where, values = "words_index MATCH ?", [" ".join(f'"{term}"*' for term in terms)]
        sql = f"words_index JOIN words ON words.id = words_index.rowid WHERE {where} ORDER BY rank, record DESC LIMIT ?"
    else:
        where, values = " AND ".join("text LIKE ?" for _ in terms), [f"%{term}%" for term in terms]
        sql = f"words WHERE {where} ORDER BY id DESC LIMIT ?"
    with _time_limit(connection):
        rows = connection.execute(f"SELECT kind, record, site, words.text AS shown FROM {sql}", (*values, most))
        return [Hit(row["kind"], row["record"], row["site"], _excerpt(row["shown"], terms)) for row in rows]


@contextmanager
def _time_limit(connection: sqlite3.Connection) -> Iterator[None]:
    """End a search that takes too long. Raises RecordsError."""
    until = time.monotonic() + LONGEST_SEARCH
    connection.set_progress_handler(lambda: time.monotonic() > until, 200)
    try:
        yield
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode != sqlite3.SQLITE_INTERRUPT:
            raise
        raise RecordsError("the search took too long and was stopped; give fewer or longer words") from None
    finally:
        connection.set_progress_handler(None, 0)


def _excerpt(text: str, terms: Sequence[str]) -> str:
    """The part of a text in which the first of the words stands; its beginning where it is spelt otherwise there."""
    found = re.search("|".join(rf"\b{re.escape(term)}" for term in terms), text, re.IGNORECASE)
    start = found.start() - BEFORE if found else 0
    if start <= 0:
        return text[:LONGEST_SHOWN]
    return f"…{text[start:].partition(' ')[2]}"[:LONGEST_SHOWN]


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


def _update_index(connection: sqlite3.Connection) -> bool:
    """Make the index where it can be had and is not there or not up to date; whether it is there now.

    Where a SQLite without FTS5 writes, it is noted as stale, and the next one that has it rebuilds the index.
    """
    if not has_index(connection):
        connection.execute("INSERT OR REPLACE INTO notes VALUES ('words_index', 'stale')")
        return False
    if _index_is_stale(connection):
        if not _index_exists(connection):
            connection.execute(INDEX)
        connection.execute("INSERT INTO words_index (words_index) VALUES ('rebuild')")
        connection.execute("INSERT OR REPLACE INTO notes VALUES ('words_index', 'ready')")
    return True


def _index_is_stale(connection: sqlite3.Connection) -> bool:
    row = connection.execute("SELECT value FROM notes WHERE name = 'words_index'").fetchone()
    return row is None or row[0] != "ready" or not _index_exists(connection)


def _index_exists(connection: sqlite3.Connection) -> bool:
    return connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'words_index'").fetchone() is not None
