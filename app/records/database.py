"""The file of the records: opened, brought up to date, and written to in transactions that are whole or nothing."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from app.records.migrate import bring_up_to_date, verified_copy
from app.records.refusals import RecordsError, in_a_sentence
from model.storage import Step, go_on

FILE = "records.sqlite"
PATIENCE = 5.0  # seconds to wait for another program that is writing
_WHOLE = ("BEGIN IMMEDIATE", "COMMIT", ("ROLLBACK",))
_PART = ("SAVEPOINT part", "RELEASE part", ("ROLLBACK TO part", "RELEASE part"))


class Database:
    """A connection to the record book in ``folder``, which is made where there is none.

    Open one for each piece of work, and never share one between threads. ``step`` is called with
    a name between steps on the disk, for tests. Raises RecordsError where it cannot be used.
    """

    def __init__(self, folder: Path, step: Step = go_on, patience: float = PATIENCE) -> None:
        self.folder = folder
        self.path = folder / FILE
        self._step = step
        with in_a_sentence(self.path):
            folder.mkdir(parents=True, exist_ok=True)
            self._connection = sqlite3.connect(self.path, timeout=patience, isolation_level=None)
        try:
            with in_a_sentence(self.path):
                self._connection.row_factory = sqlite3.Row
                settle(self._connection, patience)
                bring_up_to_date(self._connection, self.path, step)
                self._identity = _identity(self.path)
        except BaseException:
            self._connection.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let the file go. What was written is on the disk already."""
        self._connection.close()

    def read(self, sql: str, *values: Any) -> list[sqlite3.Row]:
        """The rows of a question."""
        with in_a_sentence(self.path):
            return self._connection.execute(sql, values).fetchall()

    def copy_to(self, target: Path) -> None:
        """A copy of the file, whole and read back, while others may go on writing. Raises RecordsError."""
        with in_a_sentence(target):
            verified_copy(self._connection, target, self._step)

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction: all that is written in it, on the disk when it ends, or nothing of it.

        Inside another one it is a part of that, which is taken back alone where it fails.
        """
        inner = self._connection.in_transaction
        begin, end, back = _PART if inner else _WHOLE
        with in_a_sentence(self.path):
            self._connection.execute(begin)
            try:
                # After a restore the file of this name is another one, and this one lies aside.
                if _identity(self.path) != self._identity:
                    raise RecordsError(f"{self.path}: was replaced by another file meanwhile; do that again")
                self._step("transaction begun")
                yield self._connection
                self._step("before commit")
                self._connection.execute(end)
                self._step("after commit")
            except BaseException:
                if self._connection.in_transaction:
                    for statement in back:
                        self._connection.execute(statement)
                raise


def settle(connection: sqlite3.Connection, patience: float) -> None:
    """What holds for every connection: nothing is lost by a power cut, and references hold.

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
            # Of two that turn at the same moment SQLite refuses one without waiting: each holds what the other needs.
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                raise
            time.sleep(0.005)


def _identity(path: Path) -> tuple[int, int]:
    found = path.stat()
    return found.st_dev, found.st_ino
