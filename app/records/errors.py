"""What can go wrong with the records, each in one sentence."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from model.errors import SwardkeyError


class RecordsError(SwardkeyError):
    """The records cannot be read or written as asked. The message says why; nothing was half done."""


_IN_USE = "another program is writing to it; try again when it is done"
_NO_ACCESS = "cannot be opened or made; fix the permissions of the folder"
_BY_CODE = {  # SQLite's primary result codes
    sqlite3.SQLITE_BUSY: _IN_USE,
    sqlite3.SQLITE_LOCKED: _IN_USE,
    sqlite3.SQLITE_FULL: "the disk is full; make room and do it again; nothing was changed",
    sqlite3.SQLITE_READONLY: "cannot be written to; fix the permissions of the folder",
    sqlite3.SQLITE_CANTOPEN: _NO_ACCESS,
    sqlite3.SQLITE_PERM: _NO_ACCESS,
    sqlite3.SQLITE_AUTH: _NO_ACCESS,
    sqlite3.SQLITE_IOERR: "the disk failed or is full; make room and do it again; nothing was changed",
    sqlite3.SQLITE_CORRUPT: "is damaged; keep a copy of it, and bring back a backup with swardkey restore FILE.zip",
    sqlite3.SQLITE_NOTADB: "is not a record book; move it away, or bring back a backup with swardkey restore FILE.zip",
    sqlite3.SQLITE_TOOBIG: "a text is too long for it; shorten it",
}


@contextmanager
def in_a_sentence(path: Path) -> Iterator[None]:
    """Turn what SQLite or the disk refuses into a RecordsError about ``path``."""
    try:
        yield
    except sqlite3.IntegrityError as error:
        raise RecordsError(_constraint_message(str(error))) from None
    except sqlite3.Error as error:
        code = getattr(error, "sqlite_errorcode", 0) & 0xFF
        raise RecordsError(f"{path}: {_BY_CODE.get(code, f'cannot be used ({error})')}") from None
    except OverflowError:
        raise RecordsError(
            "a number is larger than any in the records; give the number of a row that is there"
        ) from None
    except OSError as error:
        cause = f"{error.filename or path}: {error.strerror or error}"
        raise RecordsError(f"{cause}; make room or fix the permissions of the folder; nothing was changed") from None


def _constraint_message(cause: str) -> str:
    """Why a constraint or a trigger refused. The triggers of our schema say so themselves."""
    if "CHANGED_OUTSIDE KEY" in cause:
        return "it refers to something that is not in the records, or is still referred to; give one that is there"
    return "that is in the records already" if "UNIQUE" in cause else cause
