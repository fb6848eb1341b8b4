"""The manifest of labelled photos: what each shows, which group it belongs to, whose it is."""

from __future__ import annotations

import csv
import hashlib
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from model.errors import CollectionError
from model.file import check_ordinary
from model.photo.evidence import OTHER

LARGEST_BYTES = 200_000_000
MOST_PHOTOS = 200_000
LONGEST_NAME = 200  # characters of a species as the row names it
COLUMNS = ("photo", "species", "group", "source", "creator", "licence")


@dataclass(frozen=True)
class LabelledPhoto:
    """One row of a manifest.

    ``label`` is a species id, or `other:<kind>` for plants outside the flora. ``group`` is the
    plant, visit or photographer and is never split; ``group_known`` is False where the source
    gives none, so that no honest split exists and each photo is its own group.
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
    def origin(self) -> str:
        """Where it is from as figures tell it: the host of a page of its own, else the source as it was given."""
        try:
            return urlsplit(self.source).hostname or self.source
        except ValueError:
            return self.source

    @property
    def sha256(self) -> str:
        """Of the file as it is now: what identifies a photo, whatever it is called. Raises OSError."""
        return hashlib.sha256(self.file.read_bytes()).hexdigest()


def read_manifest(folder: Path) -> list[LabelledPhoto]:
    """Read manifest.csv in a folder of photos, in the file's order.

    Photos of rows without a species are under `_other/<kind>/`. Raises CollectionError naming the row.
    """
    path = folder / "manifest.csv"
    try:
        check_ordinary(path, LARGEST_BYTES)
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file, restval="")
            missing = [c for c in COLUMNS if c not in (reader.fieldnames or [])]
            if missing:
                raise CollectionError(f"{path}: has no column {missing[0]}; add it")
            photos = []
            for number, row in enumerate(reader, start=2):
                if number - 1 > MOST_PHOTOS:
                    raise CollectionError(f"{path}: has over {MOST_PHOTOS} rows; make several folders of it")
                photos.append(_photo(folder, path, number, row))
            return photos
    except FileNotFoundError:
        raise CollectionError(f"{path}: no such file; name a folder of photos with a manifest.csv") from None
    except UnicodeDecodeError:
        raise CollectionError(f"{path}: is not UTF-8 text; save it as CSV UTF-8") from None
    except csv.Error as error:
        raise CollectionError(f"{path}: is not CSV that can be read ({error}); save it as CSV again") from None
    except OSError as error:
        raise CollectionError(f"{path}: cannot be read ({error.strerror or error}); name another folder") from None


def _photo(folder: Path, path: Path, number: int, row: dict[str, str]) -> LabelledPhoto:
    name = row["photo"]
    file = folder / name
    if not name or ".." in Path(name).parts or Path(name).is_absolute() or "\0" in name:
        raise CollectionError(f"{path} row {number}: photo {name[:100]!r} is not a path inside the folder; correct it")
    label = row["species"]
    if len(label) > LONGEST_NAME:
        raise CollectionError(f"{path} row {number}: the name of its species is over {LONGEST_NAME} characters long")
    if not label:
        parts = Path(name).parts
        if len(parts) < 3 or parts[0] != "_other":
            raise CollectionError(
                f"{path} row {number}: {name[:100]!r} has no species; give one, or move it under _other/<kind>/"
            )
        label = OTHER + parts[1]
    known = row["group"] not in ("", "unknown")
    return LabelledPhoto(
        file, name, label, row["group"] if known else name, known, row["source"], row["creator"], row["licence"]
    )
