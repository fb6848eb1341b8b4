"""What can go wrong with the records, in a sentence."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from model.errors import SwardkeyError


class RecordsError(SwardkeyError):
    """The records cannot be read or written as asked. The message says why; nothing was half done."""


# By SQLite's primary result code.
_SAID = {
    sqlite3.SQLITE_BUSY: "another program is writing to it; try again when it is done",
    sqlite3.SQLITE_LOCKED: "another program is writing to it; try again when it is done",
    sqlite3.SQLITE_FULL: "the disk is full; make room and do it again; nothing was changed",
    sqlite3.SQLITE_READONLY: "cannot be written to; fix the permissions of the folder",
    sqlite3.SQLITE_CANTOPEN: "cannot be opened or made; fix the permissions of the folder",
    sqlite3.SQLITE_PERM: "cannot be opened; fix the permissions of the folder",
    sqlite3.SQLITE_AUTH: "cannot be opened; fix the permissions of the folder",
    sqlite3.SQLITE_IOERR: "the disk failed or is full; make room and do it again; nothing was changed",
    sqlite3.SQLITE_CORRUPT: "is damaged; keep a copy of it, and bring back a backup with swardkey restore FILE.zip",
    sqlite3.SQLITE_NOTADB: "is not a record book; move it away, or bring back a backup with swardkey restore FILE.zip",
    sqlite3.SQLITE_TOOBIG: "was given a text that is too long; shorten it",
}


@contextmanager
def in_a_sentence(path: Path) -> Iterator[None]:
    """Turn what SQLite or the disk refuses into a RecordsError about ``path``."""
    try:
        yield
    except sqlite3.IntegrityError as error:
        raise RecordsError(_refused(str(error))) from None
    except sqlite3.Error as error:
        code = getattr(error, "sqlite_errorcode", 0) & 0xFF
        raise RecordsError(f"{path}: {_SAID.get(code, f'cannot be used ({error})')}") from None
    except OSError as error:
        where = error.filename or path
        told = error.strerror or str(error)
        raise RecordsError(
            f"{where}: {told}; make room or fix the permissions of the folder; nothing was changed"
        ) from None


def _refused(cause: str) -> str:
    """What a trigger or a constraint refused. Ours speak for themselves."""
    if "FOREIGN KEY" in cause:
        return "it refers to something that is not in the records, or something still refers to it; name what is there"
    if "UNIQUE" in cause:
        return "that is in the records already"
    return cause
