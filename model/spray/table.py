"""Read a CSV file with named columns; errors name the row and column."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from model.errors import nearest
from model.file import read_file
from model.spray.reason import SprayError

MOST_BYTES = 1_000_000
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\u200e\u200f\u202a-\u202e\u2066-\u2069]")
LONGEST = 300  # characters of a message about one cell


@dataclass(frozen=True)
class Row:
    """One row; ``number`` counts as a spreadsheet does, from 1 for the row of column names."""

    file: Path
    number: int
    cells: dict[str, str]

    def wrong(self, column: str, message: str) -> SprayError:
        """The error that this cell is wrong."""
        message = message if len(message) <= LONGEST else f"{message[:60]}... is not a valid value; correct it"
        return SprayError(f"{self.file} row {self.number}, column {column}: {message}")

    def measured(self, column: str) -> float:
        """The number in a column. Raises SprayError where there is none."""
        text = self.cells[column]
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise self.wrong(column, f"{text or 'an empty cell'} is not a number; write one such as 5.5")
        return value


def read_table(path: Path, needed: Sequence[str], optional: Sequence[str] = ()) -> list[Row]:
    """The rows of a CSV file, separated by comma, semicolon or tab. Other columns are ignored.

    Raises SprayError for a file that cannot be read, a missing column, or a row that is too short.
    """
    text = _text(path)
    separator = max(",;\t", key=text.partition("\n")[0].count)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
    except csv.Error as error:
        raise SprayError(f"{path} is not a CSV file ({error}); export the table as CSV again") from None
    if not rows or not any(cell.strip() for cell in rows[0]):
        raise SprayError(f"{path} is empty; its first row must name the columns {', '.join(needed)}")
    columns = [cell.strip().lower() for cell in rows[0]]
    for column in needed:
        if column not in columns:
            others = [name for name in columns if name and name not in (*needed, *optional)]
            hint = f" ({nearest(column, others)} as its name)" if others else ""
            raise SprayError(f"{path} row 1: no column is named {column}{hint}; name it so")
    for column in (*needed, *optional):
        if columns.count(column) > 1:
            raise SprayError(f"{path} row 1: two columns are named {column}; leave one")
    wanted = {column: columns.index(column) for column in (*needed, *optional) if column in columns}
    found = []
    for number, cells in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in cells):
            continue
        for column, place in wanted.items():
            if place >= len(cells) and column in needed:
                raise SprayError(f"{path} row {number}, column {column}: the row ends before it; fill it in")
        row = {column: cells[place].strip() if place < len(cells) else "" for column, place in wanted.items()}
        found.append(Row(path, number, row))
    if not found:
        raise SprayError(f"{path} has no rows under the names of its columns; add at least one")
    return found


def _text(path: Path) -> str:
    try:
        text = read_file(path, MOST_BYTES).decode("utf-8-sig")
    except FileNotFoundError:
        raise SprayError(f"{path}: no such file; name another") from None
    except UnicodeDecodeError:
        raise SprayError(f"{path} is not UTF-8 text; save it as CSV in UTF-8") from None
    except OSError as error:
        raise SprayError(f"{path} cannot be read ({error.strerror}); name another file") from None
    if _CONTROL.search(text):
        raise SprayError(f"{path} holds control characters; save it as CSV in UTF-8")
    return text
