"""The chain of signed rows: each holds the sha256 of its content and of the row before it."""

from __future__ import annotations

import hashlib
import re
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path

from app.records.entries import Signed
from app.records.serialization import canonical
from model.file import read_file
from model.storage import append_line, replace_file

SIGNED_LIST = "signed.txt"  # beside the book: sequence and sha256 of every signed row, and the journal's mark then
PENDING_LIST = "signing.txt"  # beside it: those of the last signature, written just before the book had it
LONGEST = 100_000_000  # bytes of either, a million signatures
DIGITS = 20  # of a hash, enough that nobody makes another row with the same
ROWS = "SELECT sequence, sha256 FROM signed ORDER BY sequence"


def digest(row: Signed, content: str) -> str:
    """The sha256 of a signed row: all of it but this, with the sha256 of its content in place of the content."""
    covered = asdict(row) | {"sha256": hashlib.sha256(content.encode()).hexdigest()}
    return hashlib.sha256(canonical(covered).encode()).hexdigest()


def signed_row(row: sqlite3.Row) -> Signed:
    """A row of the table, without its content."""
    return Signed(**{name: row[name] for name in Signed.__dataclass_fields__})


def list_signed(path: Path, rows: Iterable[tuple[int, str]], marks: Mapping[int, str]) -> None:
    """Note signed rows in the file beside the book, which shows when the book was shortened. Raises OSError.

    ``marks``: by the numbers of rows, the mark of the journal when they were signed.
    """
    for sequence, sha256 in rows:
        append_line(path, " ".join(filter(None, (str(sequence), sha256, marks.get(sequence, "")))))


def list_pending(path: Path, rows: Iterable[tuple[int, str]]) -> None:
    """Note rows that are about to be signed, in place of those before: a crash then leaves no gap. Raises OSError."""
    if lines := "".join(f"{sequence} {sha256}\n" for sequence, sha256 in rows):
        replace_file(path, lines.encode())


def read_listed(path: Path) -> list[tuple[int, str]]:
    """The rows that were noted; a line that a crash cut short is left out. Raises OSError."""
    found = _lines(path)
    return [(n, found[n]) for n in sorted(found) if n <= len(found)]


def listed_rows(folder: Path, rows: Iterable[tuple[int, str]]) -> list[tuple[int, str]]:
    """The rows that were noted beside the book, with those of ``rows`` that a crash kept from it. Raises OSError."""
    noted, meant = read_listed(folder / SIGNED_LIST), _lines(folder / PENDING_LIST)
    more = [(n, sha256) for n, sha256 in rows if n > len(noted) and meant.get(n) == sha256]
    return noted + more


def read_marks(path: Path) -> dict[int, str]:
    """The marks of the journal that were noted with signed rows, by the numbers of the rows. Raises OSError."""
    return {n: mark for n, (_, mark) in _parts(path).items() if mark}


def _lines(path: Path) -> dict[int, str]:
    return {n: sha256 for n, (sha256, _) in _parts(path).items()}


def _parts(path: Path) -> dict[int, tuple[str, str]]:
    if not path.exists():
        return {}
    found: dict[int, tuple[str, str]] = {}
    for line in read_file(path, LONGEST).decode("utf-8", "replace").splitlines():
        if parts := re.match(
            rf"(\d{{1,9}}) ([0-9a-f]{{64}})(?: (\d{{1,9}}-[0-9a-f]{{{DIGITS}}}))?(?= |$)", line, re.ASCII
        ):
            found.setdefault(int(parts[1]), (parts[2], parts[3] or ""))
    return found


def mark_of(rows: Sequence[tuple[int, str]]) -> str:
    """The mark of a chain by its last row; "" while there is none.

    >>> mark_of([(1, "ab" * 32)])
    '1-abababababababababab'
    """
    return f"{rows[-1][0]}-{rows[-1][1][:DIGITS]}" if rows else ""
