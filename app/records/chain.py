"""The chain of signed rows: each holds the sha256 of its content and of the row before it."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path

from app.records.entries import Signed
from app.records.serialization import canonical
from model.storage import append_line

HEADS = "signed.txt"  # beside the record book: sequence and sha256 of every signed row


def digest(row: Signed, content: str) -> str:
    """The sha256 of a signed row: all of it but this, with the sha256 of its content in place of the content."""
    covered = asdict(row) | {"sha256": hashlib.sha256(content.encode()).hexdigest()}
    return hashlib.sha256(canonical(covered).encode()).hexdigest()


def signed_row(row: sqlite3.Row) -> Signed:
    """A row of the table, without its content."""
    return Signed(**{name: row[name] for name in Signed.__dataclass_fields__})


def note_heads(path: Path, heads: Iterable[tuple[int, str]]) -> None:
    """Note signed rows in the file beside the book, which shows when the book was shortened. Raises OSError."""
    for sequence, sha256 in heads:
        append_line(path, f"{sequence} {sha256}")


def read_heads(path: Path) -> list[tuple[int, str]]:
    """The rows that were noted; a line that a crash cut short is left out. Raises OSError."""
    if not path.exists():
        return []
    found: dict[int, str] = {}
    for line in path.read_text(encoding="utf-8", errors="replace").splitlines():
        number, _, sha256 = line.partition(" ")
        if number.isdecimal() and len(sha256) == 64:
            found.setdefault(int(number), sha256)
    return [(n, found[n]) for n in sorted(found) if n <= len(found)]
