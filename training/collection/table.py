"""A CSV manifest: one photo a row, with its species and, where known, its group and whose it is."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import PurePosixPath

from model.csv_file import unguarded
from model.errors import CollectionError
from training.collection.names import OTHER_FOLDER
from training.collection.offer import Offered, Origin, Refusal, Tree, needed

DELIMITERS = (",", ";", "\t")
UNKNOWN = ("", "unknown")
LONGEST_LINE = 100_000  # characters: more is not a table row
MOST_ROWS = 200_000


@dataclass(frozen=True)
class Table:
    """A manifest inside a tree; ``photo`` are paths inside the folder that the manifest lies in.

    Columns photo and species (unless ``as_name`` names it), and optionally group, source,
    creator, licence, labelled_by; others are ignored. Rows are read one by one.
    """

    tree: Tree
    name: str
    origin: Origin
    as_name: str = ""

    @property
    def title(self) -> str:
        return f"{self.tree.title}/{self.name}"

    def offers(self) -> Iterator[Offered | Refusal]:
        """Every row in the table's order; rows that cannot be taken are refused by number.

        Raises CollectionError where the table itself cannot be read.
        """
        with self._text() as text:
            header = text.readline(LONGEST_LINE)
            delimiter, columns = self._columns(header)
            reader = csv.reader(_lines(text, self.title), delimiter=delimiter)
            number = 1
            seen: dict[str, int] = {}
            try:
                for cells in reader:
                    number = reader.line_num + 1
                    if number > MOST_ROWS + 1:
                        raise CollectionError(f"{self.title}: has over {MOST_ROWS} lines; make several tables of it")
                    if any(cell.strip() for cell in cells):
                        yield self._offer(number, dict(zip(columns, map(unguarded, cells), strict=False)), seen)
            except csv.Error as error:
                raise CollectionError(f"{self.title} after row {number}: {error}; fix that row") from None

    @contextmanager
    def _text(self) -> Iterator[io.TextIOBase]:
        try:
            with needed(self.tree, self.name) as path, path.open(encoding="utf-8-sig", newline="") as text:
                yield text
        except UnicodeDecodeError:
            raise CollectionError(f"{self.title}: is not UTF-8 text; save it as CSV UTF-8") from None
        except OSError as error:
            raise CollectionError(f"{self.title}: {error.strerror or error}; name a CSV file") from None

    def _columns(self, header: str) -> tuple[str, list[str]]:
        """What separates the cells, and the names of the columns."""
        needed = ["photo"] if self.as_name else ["photo", "species"]
        for delimiter in DELIMITERS:
            columns = [c.strip().strip('"').casefold() for c in header.rstrip("\r\n").split(delimiter)]
            if all(c in columns for c in needed):
                return delimiter, columns
        raise CollectionError(f"{self.title}: its first row must name the columns {' and '.join(needed)}; add them")

    def _offer(self, number: int, row: dict[str, str], seen: dict[str, int]) -> Offered | Refusal:
        row = {column: cell.strip() for column, cell in row.items()}
        photo = row.get("photo", "").replace("\\", "/")
        where = f"row {number}: {photo}"
        path = PurePosixPath(photo)
        if not path.parts:
            return Refusal(f"row {number}", "names no photo")
        if path.is_absolute() or ".." in path.parts or ":" in path.parts[0] or "\0" in photo:
            return Refusal(where, "is not a path inside the folder of the table")
        if str(path) in seen:
            return Refusal(where, f"is in row {seen[str(path)]} already; leave one")
        if not self.tree.has(str(path)):
            return Refusal(where, "no such file in the folder of the table")
        seen[str(path)] = number
        name = self.as_name or row.get("species", "") or _other_kind(path)
        if not name:
            return Refusal(where, "has no species")
        return Offered(
            file=where,
            name=name,
            get=partial(self.tree.get, str(path)),
            group="" if row.get("group", "") in UNKNOWN else row["group"],
            visit="",
            source=row.get("source") or self.origin.source,
            creator=row.get("creator") or self.origin.creator,
            licence=row.get("licence") or self.origin.licence,
            labelled_by=row.get("labelled_by", ""),
            note=path.name,
        )


def _other_kind(path: PurePosixPath) -> str:
    """The name of a plant outside the flora, from `_other/<kind>/`; "" elsewhere."""
    parts = path.parts
    return "/".join(parts[:2]) if len(parts) > 2 and parts[0] == OTHER_FOLDER else ""


def _lines(text: io.TextIOBase, title: str) -> Iterator[str]:
    """Lines of bounded length, so that no line fills the memory."""
    while line := text.readline(LONGEST_LINE):
        if len(line) >= LONGEST_LINE:
            raise CollectionError(f"{title}: has a line of over {LONGEST_LINE} characters; it is not a table")
        yield line
