"""Keep other programs from writing while the user's folder is copied or its folders are replaced."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from app.records.database import FILE
from app.records.errors import RecordsError, in_a_sentence

PATIENCE = 20.0  # seconds to wait for whoever writes to the collection or the models
SHORT_PATIENCE = 5.0  # seconds to wait for whoever restores, or writes to the records
ONE_RESTORE = ".restore.lock"
# The locks of training.collection.store and training.registry.models.
_LOCKS = ("collection/manifest.lock", "models/.lock")


@contextmanager
def collection_and_models_locked(home: Path) -> Iterator[None]:
    """Nobody changes the collection or the models meanwhile. Raises RecordsError where somebody goes on and on.

    A folder in which no lock can be made, as on a full or read-only disk, is taken as it is.
    """
    with ExitStack() as locks:
        for name in _LOCKS:
            if (home / name).parent.is_dir():
                try:
                    locks.enter_context(FileLock(home / name, timeout=PATIENCE))
                except Timeout:
                    raise RecordsError(
                        f"{(home / name).parent}: another swardkey is writing to it; try again when it is done"
                    ) from None
                except OSError:
                    continue  # nobody can write there
        yield


@contextmanager
def all_locked(home: Path) -> Iterator[None]:
    """The same, and whoever wants to write to the records waits, and then finds that their file is another one."""
    book = home / "records" / FILE
    if os.name == "nt":  # Windows itself refuses to move what somebody has open
        yield
        return
    with ExitStack() as stack:
        stack.enter_context(collection_and_models_locked(home))
        if book.is_file():
            held = stack.enter_context(closing(sqlite3.connect(book, timeout=SHORT_PATIENCE, isolation_level=None)))
            try:
                held.execute("BEGIN IMMEDIATE")
            except sqlite3.DatabaseError as error:
                if getattr(error, "sqlite_errorcode", 0) & 0xFF == sqlite3.SQLITE_BUSY:
                    raise
                # A damaged book cannot be written to by anybody.
        yield


@contextmanager
def one_restore(home: Path) -> Iterator[None]:
    """One restore at a time. Raises RecordsError."""
    try:
        with in_a_sentence(home), FileLock(home / ONE_RESTORE, timeout=SHORT_PATIENCE):
            yield
    except Timeout:
        raise RecordsError("another swardkey is restoring a backup; wait until it is done") from None
