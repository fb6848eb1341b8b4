"""Migrate the record book from an earlier version to this one: after a verified copy of it, and whole or not at all."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing, suppress
from datetime import UTC, datetime
from pathlib import Path

from app.records import journal, schema
from app.records.errors import RecordsError
from model.storage import beside, sync_folder


def migrate(connection: sqlite3.Connection, path: Path) -> None:
    """Make the tables, or change those of an earlier version after a copy of the file was made and verified.

    Raises RecordsError for a file that is not ours or of a later version; sqlite3.Error and
    OSError where the disk fails, and then the file is as it was.
    """
    newest = len(schema.MIGRATIONS)
    version = version_of(connection, path)
    if version == newest:
        return
    if version:
        verified_copy(connection, path.with_name(f"before-version-{newest}-{datetime.now(UTC):%Y%m%dT%H%M%S%f}.sqlite"))
    bring_forward(connection, path)
    with suppress(OSError):  # it is done, and SQLite has seen to its own file
        sync_folder(path.parent)


def bring_forward(connection: sqlite3.Connection, path: Path) -> None:
    """Make the tables, or change those of an earlier version, whole or not at all. ``path``: the book, for messages.

    Raises RecordsError where the book is not sound, sqlite3.Error.
    """
    newest = len(schema.MIGRATIONS)
    connection.execute("PRAGMA foreign_keys = OFF")  # cannot be changed inside a transaction
    connection.execute("BEGIN EXCLUSIVE")
    try:
        # Another program may have done it meanwhile.
        version = version_of(connection, path)
        for script in schema.MIGRATIONS[version:]:
            for statement in schema.statements(script):
                connection.execute(statement)
        if version < schema.JOURNAL <= newest:
            journal.begin(connection)
        if connection.execute("PRAGMA foreign_key_check").fetchone():
            raise RecordsError(f"{path}: has references to rows that are missing; restore a backup, and report this")
        connection.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {newest}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
    connection.execute("PRAGMA foreign_keys = ON")


def verified_copy(connection: sqlite3.Connection, target: Path) -> None:
    """Copy the book as it is at one moment to a new file, and verify the copy before it gets its name.

    Others may use the book meanwhile. Raises RecordsError where the copy is not sound; then there is none.
    """
    with beside(target) as unfinished:
        connection.execute("VACUUM INTO ?", (str(unfinished),))
        with closing(sqlite3.connect(unfinished)) as copy:
            fault = copy.execute("PRAGMA integrity_check(1)").fetchone()[0]
        if fault != "ok":
            raise RecordsError(f"{target}: the copy is not sound ({fault}); nothing was changed")
        with unfinished.open("rb+") as file:
            os.fsync(file.fileno())


def version_of(connection: sqlite3.Connection, path: Path) -> int:
    """The version of the book, 0 for a new one; by one statement, or another program that makes it is met halfway."""
    version, application, objects = connection.execute(
        "SELECT user_version, application_id, (SELECT count(*) FROM sqlite_master) "
        "FROM pragma_user_version, pragma_application_id"
    ).fetchone()
    if application != schema.APPLICATION_ID and (version or objects):
        raise RecordsError(f"{path}: is not a record book of swardkey; move it away")
    if version > len(schema.MIGRATIONS):
        raise RecordsError(f"{path}: was written by a later swardkey (version {version}); install that version")
    return int(version)
