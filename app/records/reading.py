"""A record book where nothing can be written: read as it lies, or from a copy in memory brought to this version."""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
from contextlib import closing, suppress
from pathlib import Path

from app.records import schema
from app.records.migration import bring_forward, version_of

WITH_DATASET = 2  # the first version in which a book has the id by which open portals know it
TRIES = 3  # copies, where somebody else writes to the book meanwhile


def open_to_read(path: Path) -> sqlite3.Connection | None:
    """The book in its latest state, to be read only; None where that cannot be read. The file stays as it is.

    Raises RecordsError for a file that is not ours or of a later version.
    """
    found = _opened_read_only(path) or _copy_in_memory(path)
    if found is None:
        return None
    try:
        found.execute("PRAGMA trusted_schema = OFF")
        version = version_of(found, path)
        if version and version < len(schema.MIGRATIONS):
            with closing(found):
                found = _migrated_in_memory(found, path, version)
    except BaseException:
        found.close()
        raise
    if version:
        return found
    found.close()
    return None


def _opened_read_only(path: Path) -> sqlite3.Connection | None:
    ways = ["mode=ro"]
    with suppress(OSError):
        log = _write_ahead_log(path)
        # Without a log of changes, and with nobody who could write one, the file is all there is.
        ways += ["immutable=1"] if path.is_file() and not (log.exists() and log.stat().st_size) else []
    for way in ways:
        with suppress(sqlite3.Error):
            connection = sqlite3.connect(f"{path.absolute().as_uri()}?{way}", uri=True, isolation_level=None)
            try:
                connection.execute("SELECT count(*) FROM sqlite_master")
                return connection
            except BaseException:
                connection.close()
                raise
    return None


def _copy_in_memory(path: Path) -> sqlite3.Connection | None:
    """The book with its log of changes, which SQLite can merge only where it may write: in a temporary folder."""
    with suppress(OSError, sqlite3.Error), tempfile.TemporaryDirectory(prefix="swardkey-") as folder:
        copy = Path(folder) / path.name
        for _ in range(TRIES):
            before = _file_state(path)
            shutil.copyfile(path, copy)
            shutil.copyfile(_write_ahead_log(path), _write_ahead_log(copy))
            if _file_state(path) == before:
                with closing(sqlite3.connect(copy)) as source:
                    return _in_memory(source)
    return None


def _migrated_in_memory(source: sqlite3.Connection, path: Path, version: int) -> sqlite3.Connection:
    connection = _in_memory(source)
    try:
        bring_forward(connection, path)
        if version < WITH_DATASET:  # it would be another one each time
            connection.execute("DELETE FROM notes WHERE name = 'dataset'")
    except BaseException:
        connection.close()
        raise
    return connection


def _in_memory(source: sqlite3.Connection) -> sqlite3.Connection:
    connection = sqlite3.connect(":memory:", isolation_level=None)
    source.backup(connection)
    return connection


def _file_state(path: Path) -> list[tuple[int, int]]:
    return [(found.st_size, found.st_mtime_ns) for found in (path.stat(), _write_ahead_log(path).stat())]


def _write_ahead_log(path: Path) -> Path:
    return path.with_name(f"{path.name}-wal")
