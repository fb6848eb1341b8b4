"""The manifest of labelled photos: what each shows, which group it belongs to, whose it is."""

from __future__ import annotations

import csv
import hashlib
from dataclasses import dataclass
from pathlib import Path

from model.errors import CollectionError
from model.photo.evidence import OTHER

COLUMNS = ("photo", "species", "group", "source", "creator", "licence")


@dataclass(frozen=True)
class LabelledPhoto:
    """One row of a manifest.

    ``label`` is a species id, or `other:<kind>` for plants outside the flora. ``group`` is the
    plant, visit or photographer and is never split; ``group_known`` is False where the source
    tells none, so that no honest split exists and each photo stands for itself.
    """

    file: Path
    name: str
    label: str
    group: str
    group_known: bool
    source: str
    creator: str
    licence: str

    @property
    def sha256(self) -> str:
        """Of the file as it is now: what a photo is known by, whatever it is called. Raises OSError."""
        return hashlib.sha256(self.file.read_bytes()).hexdigest()


def read_manifest(folder: Path) -> list[LabelledPhoto]:
    """Read manifest.csv in a folder of photos, in the file's order.

    Rows without a species lie under `_other/<kind>/`. Raises CollectionError naming the row.
    """
    path = folder / "manifest.csv"
    try:
        with path.open(encoding="utf-8", newline="") as file:
            reader = csv.DictReader(file)
            missing = [c for c in COLUMNS if c not in (reader.fieldnames or [])]
            if missing:
                raise CollectionError(f"{path}: has no column {missing[0]}; add it")
            return [_photo(folder, path, number, row) for number, row in enumerate(reader, start=2)]
    except FileNotFoundError:
        raise CollectionError(f"{path}: no such file; name a folder of photos with a manifest.csv") from None


def _photo(folder: Path, path: Path, number: int, row: dict[str, str]) -> LabelledPhoto:
    name = row["photo"]
    file = folder / name
    if not name or ".." in Path(name).parts or Path(name).is_absolute():
        raise CollectionError(f"{path} row {number}: photo {name!r} is not a path inside the folder; correct it")
    label = row["species"]
    if not label:
        parts = Path(name).parts
        if len(parts) < 3 or parts[0] != "_other":
            raise CollectionError(
                f"{path} row {number}: {name} has no species; give one, or move it under _other/<kind>/"
            )
        label = OTHER + parts[1]
    known = row["group"] not in ("", "unknown")
    return LabelledPhoto(
        file, name, label, row["group"] if known else name, known, row["source"], row["creator"], row["licence"]
    )
