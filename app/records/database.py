"""The SQLite file of the records: opened, migrated, and written to in transactions that are whole or nothing."""

from __future__ import annotations

import errno
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from app.records.errors import RecordsError, in_a_sentence
from app.records.migration import migrate, verified_copy
from app.records.reading import open_to_read

FILE = "records.sqlite"
PATIENCE = 5.0  # seconds to wait for another program that is writing
_TRANSACTION = ("BEGIN IMMEDIATE", "COMMIT", ("ROLLBACK",))
_SAVEPOINT = ("SAVEPOINT part", "RELEASE part", ("ROLLBACK TO part", "RELEASE part"))
Clock = Callable[[], datetime]


def utc_now() -> datetime:
    """The time by this machine's clock."""
    return datetime.now(UTC)


class Database:
    """A connection to the record book in ``folder``, which is made where there is none.

    Open one for each piece of work, and never share one between threads. ``clock`` gives the time
    with its time zone. Where nothing can be written, a book that is there can be read, and ``refused`` says why
    nothing can be changed. Raises RecordsError where the file cannot be used.
    """

    def __init__(self, folder: Path, patience: float = PATIENCE, clock: Clock = utc_now) -> None:
        self.folder = folder
        self.path = folder / FILE
        self.clock = clock
        self.refused = ""
        if self.path.exists() and not self.path.is_file():  # a pipe would be waited for without end
            again = "move it away, or bring back a backup with swardkey restore FILE.zip"
            raise RecordsError(f"{self.path}: is not an ordinary file; {again}")
        try:
            self.connection = _opened(self.path, patience)
        except RecordsError as error:
            # What the system said is behind our sentence.
            connection = open_to_read(self.path) if _is_write_error(error.__context__) else None
            if connection is None:
                raise
            self.connection, self.refused = connection, _read_only_reason(self.path, error.__context__)
        self.connection.row_factory = sqlite3.Row
        self._identity = _identity(self.path)

    def now(self) -> str:
        """The time in UTC as it is written down."""
        return self.clock().astimezone(UTC).isoformat(timespec="seconds")

    def read(self, sql: str, *values: Any) -> list[sqlite3.Row]:
        """The rows that a query finds."""
        with in_a_sentence(self.path):
            return self.connection.execute(sql, values).fetchall()

    def copy_to(self, target: Path) -> None:
        """A copy of the file, whole and verified, while others may go on writing. Raises RecordsError."""
        with in_a_sentence(target):
            verified_copy(self.connection, target)

    @contextmanager
    def snapshot(self) -> Iterator[sqlite3.Connection]:
        """What is read inside is the book of one moment, whatever others write meanwhile."""
        with in_a_sentence(self.path):
            self.connection.execute("BEGIN")
            try:
                yield self.connection
            finally:
                self.connection.execute("ROLLBACK")

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction: all that is written in it is on the disk when it ends, or nothing of it is.

        Inside another one it is a savepoint, which is rolled back alone where it fails.
        """
        if self.refused:
            raise RecordsError(self.refused)
        begin, end, back = _SAVEPOINT if self.connection.in_transaction else _TRANSACTION
        with in_a_sentence(self.path):
            self.connection.execute(begin)
            try:
                # After a restore the file of this name is another one, and this one lies aside.
                if _identity(self.path) != self._identity:
                    raise RecordsError(f"{self.path}: was replaced by another file meanwhile; do that again")
                yield self.connection
                self.connection.execute(end)
            except BaseException:
                if self.connection.in_transaction:
                    for statement in back:
                        self.connection.execute(statement)
                raise


def _opened(path: Path, patience: float) -> sqlite3.Connection:
    """The book, made where there is none, and brought to this version. Raises RecordsError."""
    with in_a_sentence(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        connection = sqlite3.connect(path, timeout=patience, isolation_level=None)
    try:
        with in_a_sentence(path):
            _configure(connection, patience)
            migrate(connection, path)
    except BaseException:
        connection.close()
        raise
    return connection


def _is_write_error(cause: object) -> bool:
    """Whether the disk or the folder refuses to be written to."""
    codes = (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM, sqlite3.SQLITE_IOERR)
    code = getattr(cause, "sqlite_errorcode", 0) & 0xFF
    return isinstance(cause, OSError) or code in (*codes, sqlite3.SQLITE_FULL)


def _read_only_reason(path: Path, cause: object) -> str:
    """Why a book that can be read cannot be changed."""
    full = getattr(cause, "sqlite_errorcode", 0) & 0xFF in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR)
    if full or getattr(cause, "errno", 0) in (errno.ENOSPC, errno.EDQUOT):
        return f"{path}: can be read but not changed, because the disk is full; make room and do it again"
    return f"{path}: can be read but not changed; fix the permissions of the folder, or move it to a disk for writing"


def _configure(connection: sqlite3.Connection, patience: float) -> None:
    """What holds for every connection: a power cut loses nothing, and references hold.

    ``patience``: seconds to wait for another program that makes the same book at this moment.
    """
    connection.execute("PRAGMA trusted_schema = OFF")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA synchronous = FULL")
    until = time.monotonic() + patience
    while connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
        try:
            connection.execute("PRAGMA journal_mode = WAL")
        except sqlite3.OperationalError as error:
            # Of two that switch at the same moment SQLite refuses one without waiting: each holds what the other needs.
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                raise
            time.sleep(0.005)


def _identity(path: Path) -> tuple[int, int]:
    found = path.stat()
    return found.st_dev, found.st_ino
