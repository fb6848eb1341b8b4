"""A CSV file that is only ever appended to: safe cells, one row a line, and a line cut short by a crash set aside."""

from __future__ import annotations

import csv
import io
import os
import re
from collections.abc import Iterator, Sequence
from pathlib import Path

from model.errors import CollectionError
from model.storage import append, is_torn, replace_file, sync_folder

LONGEST_CELL = 500  # characters
LONGEST_LINE = 100_000  # bytes
# A spreadsheet would take a cell that begins so for a formula, the wide forms of these signs included.
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
_BEFORE = " '\xa0\0\ufeff\u200b\u200c\u200d\u2060"  # passed over when a cell is looked at
# Where a program that divides cells at other signs than ours would begin a new one with a formula.
_DIVIDED = re.compile(r"([;\t\r\n])([ '\xa0\0\ufeff\u200b-\u200d\u2060]*[=+\-@\uff1d\uff0b\uff0d\uff20])")
# Anything that would end the line or the text; the tab is dealt with above.
_CONTROL = re.compile(r"[\x00-\x08\x0a-\x1f\x7f\x85\u2028\u2029]+")


def clean_text(text: str) -> str:
    """Text for one cell: no control characters but the tab, no lone surrogates, at most LONGEST_CELL long."""
    return _CONTROL.sub(" ", text.encode("utf-8", "replace").decode())[:LONGEST_CELL]


def guarded(cell: str) -> str:
    """A cell as it is written: one that looks like a formula gets an apostrophe before it.

    >>> guarded("=1+1"), unguarded(guarded("'=1+1")), guarded("soursob")
    ("'=1+1", "'=1+1", 'soursob')
    """
    return "'" + cell if cell.lstrip(_BEFORE).startswith(_FORMULA) else cell


def guarded_within(cell: str) -> str:
    """A cell for a table that people open, which some programs divide at semicolons, tabs and lines too.

    >>> guarded_within("oxalis;=1+1"), guarded_within("oxalis; wet soil")
    ("oxalis;'=1+1", 'oxalis; wet soil')
    """
    return _DIVIDED.sub(r"\1'\2", guarded(cell))


def unguarded(cell: str) -> str:
    """The cell as it was before ``guarded``."""
    return cell[1:] if cell.startswith("'") and cell.lstrip(_BEFORE).startswith(_FORMULA) else cell


def line_of(cells: Sequence[str]) -> str:
    """One line of CSV, ended."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow([guarded(clean_text(cell)) for cell in cells])
    return out.getvalue()


def cells_of(line: str) -> list[str]:
    """The cells of one line. Raises csv.Error where quotes are left open."""
    if '"' not in line and "'" not in line and line:
        return line.split(",")  # by far the most lines, ten times as fast
    rows = list(csv.reader([line], strict=True))
    return [unguarded(cell) for cell in rows[0]] if rows else []


class GrowingFile:
    """A CSV file with a header to which whole lines are added; what is in it is never changed.

    Call ``mend`` and ``append`` only while holding the lock of the folder.
    """

    def __init__(self, path: Path, columns: tuple[str, ...]) -> None:
        self.path = path
        self.columns = columns
        self.torn = path.with_suffix(".torn")
        self._offset = 0
        self._line = 0

    def is_torn(self) -> bool:
        """Whether the last line has no end."""
        return is_torn(self.path)

    def mend(self) -> str:
        """Move a last line without an end to the .torn file; a note that says so, or "". Raises OSError."""
        if not self.is_torn():
            return ""
        with self.path.open("r+b") as file:
            end = sum(len(line) for line in file if line.endswith(b"\n"))
            file.seek(end)
            append(self.torn, file.read() + b"\n")
            file.truncate(end)
            file.flush()
            os.fsync(file.fileno())
        sync_folder(self.path.parent)
        return f"the last line of {self.path.name} had been cut short; it is kept in {self.torn.name}"

    def append(self, cells: Sequence[str]) -> None:
        """Add one row, all of it on the disk before this returns. Raises OSError."""
        self.mend()
        if not self.path.exists() or self.path.stat().st_size == 0:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            replace_file(self.path, line_of(self.columns).encode())
        append(self.path, line_of(cells).encode())

    def new_rows(self) -> Iterator[tuple[int, list[str]]]:
        """Rows that were not read before, with their line numbers; a line still without an end is left for later.

        Raises CollectionError naming the line that is not a row of this file.
        """
        try:
            file = self.path.open("rb")
        except FileNotFoundError:
            return
        except OSError as error:
            raise CollectionError(
                f"{self.path}: cannot be read ({error.strerror or error}); fix its permissions"
            ) from None
        with file:
            file.seek(self._offset)
            while (raw := file.readline(LONGEST_LINE)).endswith(b"\n"):
                self._offset += len(raw)
                self._line += 1
                cells = self._cells(raw)
                if self._line > 1:
                    yield self._line, cells
        if len(raw) == LONGEST_LINE:
            raise self._fault(f"line {self._line + 1}: is over {LONGEST_LINE} bytes long; fix that line")

    def _cells(self, raw: bytes) -> list[str]:
        where = f"line {self._line}"
        try:
            cells = cells_of(raw.decode("utf-8-sig" if self._line == 1 else "utf-8").rstrip("\r\n"))
        except UnicodeDecodeError:
            raise self._fault(f"{where}: not UTF-8 text; save the file as UTF-8") from None
        except csv.Error as error:
            raise self._fault(f"{where}: {error}; fix that line") from None
        if self._line == 1 and tuple(cells) != self.columns:
            raise CollectionError(f"{self.path}: its first line must be {','.join(self.columns)}; restore it")
        if len(cells) != len(self.columns):
            raise self._fault(f"{where}: has {len(cells)} cells, not {len(self.columns)}; fix that line")
        return cells

    def _fault(self, what: str) -> CollectionError:
        return CollectionError(f"{self.path} {what}")
