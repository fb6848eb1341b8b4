"""Bring the record book from an earlier version to this one: after a verified copy of it, and whole or not at all."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path

from app.records import schema
from app.records.refusals import RecordsError
from model.storage import Step, beside, sync_folder


def bring_up_to_date(connection: sqlite3.Connection, path: Path, step: Step) -> None:
    """Make the tables, or change those of an earlier version after a copy of the file was made and read back.

    Raises RecordsError for a file that is not ours or of a later version; sqlite3.Error and
    OSError where the disk fails, and then the file is as it was.
    """
    version = _version(connection, path)
    newest = len(schema.MIGRATIONS)
    if version == newest:
        return
    if version:
        verified_copy(connection, path.with_name(f"before-version-{newest}-{_now()}.sqlite"), step)
    connection.execute("PRAGMA foreign_keys = OFF")  # cannot be changed inside a transaction
    connection.execute("BEGIN EXCLUSIVE")
    try:
        # Another program may have done it meanwhile.
        for number in range(_version(connection, path), newest):
            for statement in schema.statements(schema.MIGRATIONS[number]):
                connection.execute(statement)
            step(f"migration {number + 1} half done")
        if connection.execute("PRAGMA foreign_key_check").fetchone():
            raise RecordsError(
                f"{path}: holds references to what is not there; bring back a backup, and send in a note"
            )
        connection.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {newest}")
        step("migration before commit")
        connection.execute("COMMIT")
        step("migration done")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
    connection.execute("PRAGMA foreign_keys = ON")
    with suppress(OSError):  # it is done, and SQLite has seen to its own file
        sync_folder(path.parent)


def verified_copy(connection: sqlite3.Connection, target: Path, step: Step) -> None:
    """Copy the record book to a new file while it may be in use, and read the copy back before it gets its name.

    Raises RecordsError where the copy is not sound; then there is none.
    """
    with beside(target) as unfinished:
        with closing(sqlite3.connect(unfinished)) as copy:
            with _one_moment(connection):
                connection.backup(copy)
                counts = _counts(connection)
            step("copy written")
            # A copy in WAL mode would bring two side files with it.
            copy.execute("PRAGMA journal_mode = DELETE")
            faults = [row[0] for row in copy.execute("PRAGMA integrity_check(1)")]
            if faults != ["ok"] or _counts(copy) != counts:
                raise RecordsError(f"{target}: the copy is not sound ({faults[0]}); nothing was changed")
        with unfinished.open("rb+") as file:
            os.fsync(file.fileno())
        step("copy verified")
    step("copy in place")


@contextmanager
def _one_moment(connection: sqlite3.Connection) -> Iterator[None]:
    """All that is read is as it was at one moment, whatever others write meanwhile."""
    if connection.in_transaction:
        yield
        return
    connection.execute("BEGIN")
    try:
        connection.execute("SELECT 1 FROM sqlite_master").fetchone()
        yield
    finally:
        if connection.in_transaction:  # a disk that fails has ended it
            connection.execute("ROLLBACK")


def _version(connection: sqlite3.Connection, path: Path) -> int:
    with _one_moment(connection):  # or another program that makes the book is met halfway
        version: int = connection.execute("PRAGMA user_version").fetchone()[0]
        ours = connection.execute("PRAGMA application_id").fetchone()[0] == schema.APPLICATION_ID
        empty = version == 0 and not connection.execute("SELECT 1 FROM sqlite_master").fetchone()
    if not ours and not empty:
        raise RecordsError(f"{path}: is not a record book of swardkey; move it away")
    if version > len(schema.MIGRATIONS):
        raise RecordsError(f"{path}: was written by a later swardkey (version {version}); install that one")
    return version


def _counts(connection: sqlite3.Connection) -> dict[str, int]:
    names = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name").fetchall()
    return {name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for (name,) in names}


def _now() -> str:
    return f"{datetime.now(UTC):%Y%m%dT%H%M%S%f}"
