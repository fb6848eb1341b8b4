"""The table of a batch: one row a photo, as JSON, or in a CSV file that only grows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from model.csv_file import GrowingFile, clean_text
from model.errors import SwardkeyError

UNREADABLE = "unreadable"  # the status of a photo that cannot be opened
LEAST_SHOWN = 0.1  # in the terminal, a first choice of the photo is left out below this
PLACES = ("first", "second", "third")
CHOICES = tuple(column for place in PLACES for column in (place, f"{place}_probability"))
COLUMNS = ("file", "status", "species", "probability", *CHOICES, "usable", "note", "model")


@dataclass(frozen=True)
class Named:
    """What one photo shows. ``file`` is its name within the folder, as a cell holds it.

    ``status`` is that of a Finding, or UNREADABLE; ``species`` and ``probability`` (0-1) are None
    where no plant is named. ``photo`` are the photo model's own first three, likeliest first;
    ``model`` names the photo model.
    """

    file: str
    status: str
    species: str | None = None
    probability: float | None = None
    photo: tuple[tuple[str, float], ...] = ()
    usable: bool = False
    note: str = ""
    model: str = ""

    def as_json(self) -> dict[str, Any]:
        """The row as plain data."""
        return asdict(self) | {"photo": [{"species": species, "probability": p} for species, p in self.photo]}

    def as_cells(self) -> list[str]:
        """The row in the order of COLUMNS."""
        choices = [str(cell) for choice in self.photo for cell in choice]
        choices += [""] * (len(CHOICES) - len(choices))
        probability = "" if self.probability is None else str(self.probability)
        usable = "yes" if self.usable else "no"
        return [self.file, self.status, self.species or "", probability, *choices, usable, self.note, self.model]

    @classmethod
    def from_cells(cls, cells: list[str]) -> Named:
        """The row that as_cells gave. Raises ValueError."""
        row: dict[str, Any] = dict(zip(COLUMNS, cells, strict=True))
        choices = [(row.pop(place), row.pop(f"{place}_probability")) for place in PLACES]
        row |= {
            "species": row["species"] or None,
            "probability": float(row["probability"]) if row["probability"] else None,
            "photo": tuple((species, float(p)) for species, p in choices if species),
            "usable": row["usable"] == "yes",
        }
        return cls(**row)

    def __str__(self) -> str:
        """The row for the terminal."""
        name = ""
        if self.probability is not None:
            name = f"{self.species} {self.probability:.0%}"
        elif self.usable and self.photo and self.photo[0][1] >= LEAST_SHOWN:
            name = f"perhaps {self.photo[0][0]} {self.photo[0][1]:.0%}"
        return "  ".join(part for part in (self.file, self.status, name, clean_text(self.note)) if part)


def outcomes(rows: Iterable[Named]) -> str:
    """How many photos were named and how many were not, in words.

    >>> outcomes([Named("a.jpg", "likely"), Named("b.jpg", UNREADABLE), Named("c.jpg", "undecided")])
    '1 named (likely; a photo alone never confirms), 1 not named yet, 1 unreadable'
    """
    count = Counter(row.status for row in rows)
    words = {
        "likely": "named (likely; a photo alone never confirms)",
        "undecided": "not named yet",
        "unlisted": "of a plant that is not on file",
        UNREADABLE: "unreadable",
    }
    return ", ".join(f"{count[status]} {text}" for status, text in words.items() if count[status]) or "none"


class Table:
    """A CSV file of rows; a photo that has a row is not named again. One program at a time."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file = GrowingFile(path, COLUMNS)

    def done(self, model: str) -> set[str]:
        """Names of the photos that have a row, after a row that a crash cut short is taken off.

        Raises SwardkeyError for a file that is not such a table, or of another photo model.
        """
        if self._file.is_torn() and b"\n" not in self.path.read_bytes():
            raise SwardkeyError(f"{self.path}: is not a table of named photos; give another --out")
        rows = list(self.rows())
        for row in rows:
            if row.model != model:
                raise SwardkeyError(
                    f"{self.path}: was made with the photo model {row.model}, not {model}; give another --out"
                )
        try:
            self._file.mend()
        except OSError as error:
            raise SwardkeyError(f"{self.path}: cannot be used ({error.strerror}); give another --out") from None
        return {row.file for row in rows}

    def add(self, row: Named) -> None:
        """Add a row, all of it on the disk before this returns. Raises SwardkeyError."""
        try:
            self._file.append(row.as_cells())
        except OSError as error:
            raise SwardkeyError(
                f"{self.path}: cannot be written ({error.strerror}); the rows so far are kept, "
                "and the same command continues from there"
            ) from None

    def rows(self) -> Iterator[Named]:
        """Its whole rows, in their order. Raises SwardkeyError naming the line that is wrong."""
        for line, cells in GrowingFile(self.path, COLUMNS).new_rows():
            try:
                yield Named.from_cells(cells)
            except ValueError:
                raise SwardkeyError(f"{self.path} line {line}: lacks a number where one belongs; correct it") from None
