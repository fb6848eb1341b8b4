"""The mark of a record book: how many rows are signed and the hash of the last, for papers and backups to carry.

No program alone on one machine can prove that nothing was altered: whoever may write to the folder can replace the
book with all that lies beside it. A mark on a paper, or a backup, that lies elsewhere shows whether that was done.
"""

from __future__ import annotations

import re
import sqlite3
import zipfile
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory

from app.records.chain import DIGITS, ROWS, mark_of
from app.records.database import FILE
from app.records.errors import RecordsError, in_a_sentence
from app.records.record_book import Records
from app.records.restore import plan_restore

Rows = Sequence[tuple[int, str]]


def signed_rows(records: Records) -> list[tuple[int, str]]:
    """Number and hash of every signed row of a book."""
    return [(row[0], row[1]) for row in records.database.read(ROWS)]


def mark_on_paper(records: Records) -> str:
    """The mark as it stands at the foot of a paper; "" while nothing is signed."""
    mark = mark_of(signed_rows(records))
    return f"record book: mark {mark}" if mark else ""


def against_mark(records: Records, mark: str) -> tuple[str, ...]:
    """What speaks against that the book still holds what it held at a mark. Raises RecordsError for another text."""
    found = re.fullmatch(rf"(\d{{1,9}})-([0-9a-f]{{{DIGITS}}})", mark.strip().casefold(), re.ASCII)
    if not found:
        raise RecordsError(
            f"{mark[:60]}: is not a mark; copy it from the foot of a paper, such as 12-0123456789abcdef0123"
        )
    return _lost(records, [(int(found[1]), found[2])], f"the mark {found[0]}")


def against_backup(records: Records, file: Path) -> tuple[str, ...]:
    """What speaks against that the book still holds all that is signed in a backup. Raises RecordsError."""
    plan_restore(file, records.folder)
    member = f"records/{FILE}"
    with in_a_sentence(file), TemporaryDirectory(prefix="swardkey-") as spare, zipfile.ZipFile(file) as archive:
        if member not in archive.namelist():
            raise RecordsError(f"{file}: has no record book; use another backup")
        book = Path(archive.extract(member, spare))
        with closing(sqlite3.connect(f"{book.as_uri()}?immutable=1", uri=True)) as opened:
            rows = opened.execute(ROWS).fetchall()
    return _lost(records, rows, f"{file.name}")


def _lost(records: Records, held: Rows, where: str) -> tuple[str, ...]:
    now = dict(signed_rows(records))
    for number, sha256 in held:
        if number not in now:
            return (f"signed row {number} of {where} is no longer in the book",)
        if not now[number].startswith(sha256):
            return (f"signed row {number} is not the one of {where}: the book was replaced or rewritten",)
    return ()
