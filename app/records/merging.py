"""Clients and sites that are in the book twice become one, and those that nothing hangs on are removed."""

from __future__ import annotations

import sqlite3
from dataclasses import fields, replace
from typing import Literal, TypeVar

from app.records import journal
from app.records.book import Book
from app.records.database import Database
from app.records.entries import Client, Site
from app.records.errors import RecordsError
from app.records.search import drop_words
from model.text import counted

Merged = Literal["client", "site"]
Entry = TypeVar("Entry", Client, Site)
TABLE: dict[Merged, str] = {"client": "clients", "site": "sites"}
# The tables whose rows hang on a client or a site, and what a row of each is called.
DEPENDENTS: dict[Merged, dict[str, str]] = {
    "client": {"sites": "site"},
    "site": {"visits": "visit", "follow_ups": "follow-up", "groups_used": "note of a group used"},
}


class Merging:
    """Puts clients and sites of a book together, or takes them out."""

    def __init__(self, database: Database, book: Book) -> None:
        self._database = database
        self._book = book

    def merge(self, kind: Merged, number: int, into: int) -> Client | Site:
        """Put all of a client or site under another one, which also takes what it lacks itself; the first goes.

        What the two say differently is added to the notes of the one that stays. Raises RecordsError where there is
        none of that number, and for a site with signed visits or treatments, which never move.
        """
        if number == into:
            raise RecordsError(f"that is {kind} {number} twice; give two different numbers")
        gone, stays = self._one(kind, number), self._one(kind, into)
        if kind == "site" and self._has_signed(number):
            raise RecordsError(
                f"site {number} has signed visits or treatments, which never move; merge site {into} into site "
                f"{number} instead"
            )
        with self._database.writing() as connection:
            kept = _change(self._book, gone, stays)
            for table in DEPENDENTS[kind]:
                moved = connection.execute(f"SELECT id FROM {table} WHERE {kind} = ?", (number,)).fetchall()
                for (row,) in moved:
                    journal.note_outside_change(connection, table, row)
                    connection.execute(f"UPDATE {table} SET {kind} = ? WHERE id = ?", (into, row))
                    journal.note(connection, table, row)
            if kind == "site":
                connection.execute("UPDATE words SET site = ? WHERE site = ? AND kind <> 'site'", (into, number))
            _delete(connection, kind, number)
        return kept

    def remove(self, kind: Merged, number: int) -> Client | Site:
        """Take out a client or a site that nothing hangs on. Raises RecordsError saying what does."""
        gone = self._one(kind, number)
        dependents = []
        for table, noun in DEPENDENTS[kind].items():
            if count := self._database.read(f"SELECT count(*) FROM {table} WHERE {kind} = ?", number)[0][0]:
                dependents.append(counted(count, noun))
        if dependents:
            raise RecordsError(
                f"{kind} {number} has {' and '.join(dependents)}, so it stays; to join it to another one, "
                f"use swardkey records merge {kind} {number} --into NUMBER"
            )
        with self._database.writing() as connection:
            _delete(connection, kind, number)
        return gone

    def _one(self, kind: Merged, number: int) -> Client | Site:
        return self._book.client(number) if kind == "client" else self._book.site(number)

    def _has_signed(self, site: int) -> bool:
        sql = """SELECT 1 FROM visits v LEFT JOIN treatments t ON t.visit = v.id JOIN signed s
          ON (s.kind = 'visit' AND s.record = v.id) OR (s.kind = 'treatment' AND s.record = t.id)
          WHERE v.site = ? LIMIT 1"""
        return bool(self._database.read(sql, site))


def _delete(connection: sqlite3.Connection, kind: Merged, number: int) -> None:
    drop_words(connection, kind, number)
    connection.execute(f"DELETE FROM {TABLE[kind]} WHERE id = ?", (number,))
    journal.note(connection, TABLE[kind], number)


def _change(book: Book, gone: Client | Site, stays: Client | Site) -> Client | Site:
    if isinstance(gone, Client) and isinstance(stays, Client):
        return book.change_client(_combined(gone, stays))
    assert isinstance(gone, Site) and isinstance(stays, Site)
    return book.change_site(_combined(gone, stays))


def _combined(gone: Entry, stays: Entry) -> Entry:
    """The entry that stays, with what it lacks from the other one, and in its notes what that one said differently."""
    other = {f.name: getattr(gone, f.name) for f in fields(gone) if f.name not in ("id", "notes", "client")}
    lacking = {
        name: value for name, value in other.items() if value and getattr(stays, name) in ("", None, (), "unknown")
    }
    differs = [
        f"{name.replace('_', ' ')} {', '.join(value) if isinstance(value, tuple) else value}"
        for name, value in other.items()
        if value and name not in lacking and value != getattr(stays, name) and value != "unknown"
    ]
    combined = f"Merged with another entry: {'; '.join(differs)}." if differs else ""
    notes = "\n".join(text for text in (stays.notes, gone.notes, combined) if text)
    return replace(stays, **lacking, notes=notes)
