"""The mark of a record book: how many entries its journal has and the hash of the last, for papers and backups.

No program alone on one machine can prove that nothing was altered: whoever may write to the folder can replace the
book with all that lies beside it. A mark on a paper, or a backup, that lies elsewhere shows whether that was done.
"""

from __future__ import annotations

import re
import sqlite3
import zipfile
from collections.abc import Iterable, Sequence
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory

from app.records import journal, schema
from app.records.chain import DIGITS, ROWS
from app.records.database import FILE
from app.records.errors import RecordsError, in_a_sentence
from app.records.migration import version_of
from app.records.record_book import Records
from app.records.restore import plan_restore

Rows = Sequence[tuple[int, str]]


def mark_of_book(records: Records) -> str:
    """The mark of a book as it is now; "" while nothing is in it."""
    with in_a_sentence(records.database.path):
        return journal.mark(records.database.connection)


def mark_on_paper(records: Records) -> str:
    """The mark as it stands at the foot of a paper; "" while nothing is in the book."""
    mark = mark_of_book(records)
    return f"record book: mark {mark}" if mark else ""


def against_mark(records: Records, mark: str) -> tuple[str, ...]:
    """What speaks against that the book still holds what it held at a mark. Raises RecordsError for another text.

    Papers of before the journal carry the number and hash of the row that was signed last: it may be that, too.
    """
    found = re.fullmatch(rf"(\d{{1,9}})-([0-9a-f]{{{DIGITS}}})", mark.strip().casefold(), re.ASCII)
    if not found:
        raise RecordsError(
            f"{mark[:60]}: is not a mark; copy it from the foot of a paper, such as 12-0123456789abcdef0123"
        )
    held, where = [(int(found[1]), found[2])], f"the mark {found[0]}"
    faults = _lost(records.database.read(journal.ENTRIES), held, "journal entry", where)
    return faults if faults and _lost(records.database.read(ROWS), held, "signed row", where) else ()


def against_backup(records: Records, file: Path) -> tuple[str, ...]:
    """What speaks against that the book still holds all that a backup has. Raises RecordsError."""
    plan_restore(file, records.folder)
    member = f"records/{FILE}"
    faults: tuple[str, ...] = ()
    with in_a_sentence(file), TemporaryDirectory(prefix="swardkey-") as spare, zipfile.ZipFile(file) as archive:
        if member not in archive.namelist():
            raise RecordsError(f"{file}: has no record book; use another backup")
        book = Path(archive.extract(member, spare))
        with closing(sqlite3.connect(f"{book.as_uri()}?immutable=1", uri=True)) as opened:
            version = version_of(opened, file)
            faults += _lost(records.database.read(ROWS), opened.execute(ROWS).fetchall(), "signed row", file.name)
            if version >= schema.JOURNAL:
                held = opened.execute(journal.ENTRIES).fetchall()
                faults += _lost(records.database.read(journal.ENTRIES), held, "journal entry", file.name)
    return faults


def _lost(now: Iterable[tuple[int, str] | sqlite3.Row], held: Rows, what: str, where: str) -> tuple[str, ...]:
    there = {number: sha256 for number, sha256 in now}
    for number, sha256 in held:
        if number not in there:
            why = "it was cut back, replaced, or restored from an older backup"
            return (f"{what} {number} of {where} is no longer in the book: {why}",)
        if not there[number].startswith(sha256):
            return (f"{what} {number} is not the one of {where}: the book was replaced or rewritten",)
    return ()
