"""The table of photos that were named: one row a photo, as JSON, or in a CSV file that only grows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from model.csv_file import GrowingFile, clean_text
from model.errors import SwardkeyError

UNREADABLE = "unreadable"  # the status of a photo that cannot be opened
LEAST_SHOWN = 0.1  # below this the photo's first choice is not worth a word in the terminal
PLACES = ("first", "second", "third")
COLUMNS = (
    "file",
    "status",
    "species",
    "probability",
    *(name for place in PLACES for name in (place, f"{place}_probability")),
    "usable",
    "note",
    "model",
)


@dataclass(frozen=True)
class Named:
    """What one photo shows. ``file`` is its name within the folder, as a cell holds it.

    ``status`` is that of a Finding, or UNREADABLE; ``species`` and ``probability`` (0-1) are None
    where none is named. ``photo`` are the photo model's own first three, likeliest first;
    ``model`` names the photo model.
    """

    file: str
    status: str
    species: str | None
    probability: float | None
    photo: tuple[tuple[str, float], ...]
    usable: bool
    note: str
    model: str

    def as_json(self) -> dict[str, Any]:
        """The row as plain data."""
        return {
            "file": self.file,
            "status": self.status,
            "species": self.species,
            "probability": self.probability,
            "photo": [{"species": species, "probability": p} for species, p in self.photo],
            "usable": self.usable,
            "note": self.note,
            "model": self.model,
        }

    def as_cells(self) -> list[str]:
        """The row in the order of COLUMNS."""
        best = [cell for species, p in self.photo for cell in (species, str(p))]
        best += [""] * (2 * len(PLACES) - len(best))
        probability = "" if self.probability is None else str(self.probability)
        usable = "yes" if self.usable else "no"
        return [self.file, self.status, self.species or "", probability, *best, usable, self.note, self.model]

    @classmethod
    def from_cells(cls, cells: list[str]) -> Named:
        """The row that as_cells gave. Raises ValueError."""
        row = dict(zip(COLUMNS, cells, strict=True))
        return cls(
            file=row["file"],
            status=row["status"],
            species=row["species"] or None,
            probability=float(row["probability"]) if row["probability"] else None,
            photo=tuple((row[place], float(row[f"{place}_probability"])) for place in PLACES if row[place]),
            usable=row["usable"] == "yes",
            note=row["note"],
            model=row["model"],
        )


class Sheet:
    """A CSV file of rows: what it holds already is not done again. One program at a time."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file = GrowingFile(path, COLUMNS)

    def done(self, model: str) -> set[str]:
        """Names of the photos that it has rows of, after mending what a crash cut short.

        Raises SwardkeyError for a file that is not of this kind, or of another photo model.
        """
        names = set()
        if self._file.is_torn() and b"\n" not in self.path.read_bytes():
            raise SwardkeyError(f"{self.path}: is not a table of named photos; give another --out")
        for row in self.rows():
            if row.model != model:
                raise SwardkeyError(
                    f"{self.path}: was made with the photo model {row.model}, not {model}; give another --out"
                )
            names.add(row.file)
        try:
            self._file.mend()
        except OSError as error:
            raise SwardkeyError(f"{self.path}: cannot be used ({error.strerror}); give another --out") from None
        return names

    def add(self, row: Named) -> None:
        """Add a row, all of it on the disk before this returns. Raises SwardkeyError."""
        try:
            self._file.append(row.as_cells())
        except OSError as error:
            raise SwardkeyError(
                f"{self.path}: cannot be written ({error.strerror}); the rows so far are kept, "
                "and the same command goes on from there"
            ) from None

    def rows(self) -> Iterator[Named]:
        """Its whole rows, in their order. Raises SwardkeyError naming the line that is none."""
        for line, cells in GrowingFile(self.path, COLUMNS).new_rows():
            try:
                yield Named.from_cells(cells)
            except ValueError:
                raise SwardkeyError(f"{self.path} line {line}: lacks a number where one belongs; correct it") from None


def shown(row: Named) -> str:
    """A row for the terminal."""
    if row.probability is not None:
        said = f"{row.species} {row.probability:.0%}"
    else:
        worth = bool(row.photo) and row.usable and row.photo[0][1] >= LEAST_SHOWN
        said = f"perhaps {row.photo[0][0]} {row.photo[0][1]:.0%}" if worth else ""
    return "  ".join(part for part in (row.file, row.status, said, clean_text(row.note)) if part)
