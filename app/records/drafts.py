"""Work in progress on the web pages, saved at every step under an id that cannot be guessed."""

from __future__ import annotations

import json
import re
import secrets
import sqlite3
from typing import Any

from app.records.database import Database
from app.records.entries import Draft
from app.records.errors import RecordsError
from app.records.serialization import canonical

_ID = re.compile(r"[A-Za-z0-9_-]{22}")
_UNKNOWN = "there is no work in progress at that address; start a new one"


class Drafts:
    """The work in progress of a record book."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def save_draft(self, state: dict[str, Any], draft: str | None = None) -> Draft:
        """Keep the state of a draft, whole or not at all; a new one where no id is given.

        Raises RecordsError for a state that JSON cannot hold, and for a draft that became a visit.
        """
        number = secrets.token_urlsafe(16) if draft is None else _valid(draft)
        text, now = canonical(state, sort_keys=False), self._database.now()
        with self._database.writing() as connection:
            saved = connection.execute(
                "INSERT INTO drafts VALUES (?, ?, ?, ?, NULL) ON CONFLICT (id) DO UPDATE "
                "SET state = excluded.state, saved_at = excluded.saved_at WHERE visit IS NULL",
                (number, text, now, now),
            )
            if not saved.rowcount:
                raise RecordsError("this has become a visit already; start a new one")
        return self.draft(number)

    def draft(self, draft: str) -> Draft:
        """A draft by its id. Raises RecordsError where there is none."""
        found = self._database.read("SELECT * FROM drafts WHERE id = ?", _valid(draft))
        if not found:
            raise RecordsError(_UNKNOWN)
        return _draft(found[0])

    def recent_drafts(self, most: int = 10) -> tuple[Draft, ...]:
        """Drafts that have not become a visit, the last saved first."""
        sql = "SELECT * FROM drafts WHERE visit IS NULL ORDER BY saved_at DESC, rowid DESC LIMIT ?"
        return tuple(_draft(row) for row in self._database.read(sql, most))

    def end_draft(self, draft: str, visit: int) -> Draft:
        """Write down which visit the draft became: its address leads there from now on."""
        with self._database.writing() as connection:
            done = connection.execute("UPDATE drafts SET visit = ? WHERE id = ?", (visit, _valid(draft)))
            if not done.rowcount:
                raise RecordsError(_UNKNOWN)
        return self.draft(draft)


def _valid(draft: str) -> str:
    if not _ID.fullmatch(draft):
        raise RecordsError("that is not an address of work in progress; start a new one")
    return draft


def _draft(row: sqlite3.Row) -> Draft:
    return Draft(row["id"], json.loads(row["state"]), row["started_at"], row["saved_at"], row["visit"])
