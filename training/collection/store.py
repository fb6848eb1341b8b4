"""The collection of the user's own labelled photos: stored pixels, and a manifest that only grows."""

from __future__ import annotations

import hashlib
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import astuple, replace
from pathlib import Path

from filelock import FileLock, Timeout

from model.csv_file import GrowingFile
from model.errors import CollectionError
from model.flora import Species
from model.storage import replace_file
from training.collection.adding import Outcome, Row, apply
from training.collection.intake import Intake
from training.collection.own import OwnSpecies, read_own, write_own
from training.collection.plan import Progress, now
from training.data.manifest import LabelledPhoto

COLUMNS = ("photo", "species", "group", "source", "creator", "licence", "labelled_by", "labelled_at", "action", "note")
PHOTO_NAME = re.compile(r"([0-9a-f]{2})/\1[0-9a-f]{62}\.jpg")
ORIGINAL = re.compile(r"[0-9a-f]{64}")
LABEL = re.compile(r"(other:)?[a-z0-9_]{1,100}")
ACTIONS = ("add", "relabel", "remove")
WAIT = 30.0  # seconds for another swardkey to finish a row


class Collection:
    """A folder of labelled photos.

    photos/ab/<sha256>.jpg, manifest.csv (the latest row of a photo wins), species/<id>.yaml of
    the user's own, and originals.csv, by which an original that comes again is recognised without
    being decoded; that last file may be deleted. A photo's file is on the disk before its row,
    so a crash leaves at most a file without a row. Memory grows by some 350 bytes a photo.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.notes: list[str] = []
        self._lock = FileLock(str(folder / "manifest.lock"), timeout=WAIT)
        self._manifest = GrowingFile(folder / "manifest.csv", COLUMNS)
        self._originals = GrowingFile(folder / "originals.csv", ("original", "photo"))
        self._labels: dict[bytes, str | None] = {}
        self._known: dict[bytes, bytes] = {}
        self._is_open = False

    def open(self) -> Collection:
        """Read the manifest; a line cut short by a crash is set aside first, and ``notes`` says so.

        Raises CollectionError naming the line that is wrong. A folder that is not there is an
        empty collection, and is not made.
        """
        self._is_open = True
        if self._manifest.is_torn() or self._originals.is_torn():
            with self.locked():
                self.notes += [note for note in (self._manifest.mend(), self._originals.mend()) if note]
        self._catch_up()
        return self

    @contextmanager
    def locked(self) -> Iterator[None]:
        """Hold the collection against other processes. Raises CollectionError, also for a disk that fails."""
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            with self._lock:
                yield
        except Timeout:
            raise CollectionError(f"{self.folder}: another swardkey is writing to it; wait until it is done") from None
        except OSError as error:
            cause = error.strerror or str(error)
            raise CollectionError(
                f"{self.folder}: cannot be written to ({cause}); make room or fix its permissions"
            ) from None

    def photos(self) -> list[LabelledPhoto]:
        """All photos that are in, under the label that each has now, in the order in which they came."""
        self._opened()
        found: dict[str, LabelledPhoto] = {}
        for row in self._rows():
            if row.action == "remove":
                found.pop(row.photo, None)
            else:
                found[row.photo] = self._labelled(row)
        return list(found.values())

    def _labelled(self, row: Row) -> LabelledPhoto:
        return LabelledPhoto(
            file=self.file_of(row.photo),
            name=row.photo,
            label=row.species,
            group=row.group or row.photo,
            group_known=bool(row.group),
            source=row.source,
            creator=row.creator,
            licence=row.licence,
        )

    def own_names(self) -> dict[str, str]:
        """What the user's own file was called, for each photo that ever came in."""
        self._opened()
        return {row.photo: row.note for row in self._rows() if row.note}

    def history(self, photo: str) -> list[Row]:
        """Every row of one photo, oldest first. ``photo`` as ``find`` takes it."""
        name = self.find(photo)
        return [row for row in self._rows() if row.photo == name]

    def file_of(self, photo: str) -> Path:
        """The file of a photo."""
        return self.folder / "photos" / photo

    def find(self, text: str) -> str:
        """The photo that the user means, by its name, its file, or six or more first digits of it.

        Raises CollectionError where there is none, or several.
        """
        self._opened()
        digits = Path(text).name.removesuffix(".jpg").casefold()
        if not re.fullmatch(r"[0-9a-f]{6,64}", digits):
            raise CollectionError(
                f"{text}: is not the name of a photo; give six or more digits of it, see collect list --photos"
            )
        found = [digest.hex() for digest in self._labels if digest.hex().startswith(digits)]
        if len(found) != 1:
            fault = (
                f"{len(found)} photos begin like that; give more"
                if found
                else "no photo in the collection begins like that"
            )
            raise CollectionError(f"{text}: {fault}")
        return name_of(found[0])

    def label_of(self, photo: str) -> str | None:
        """The label that a photo has now; None where it is not in, or was taken back."""
        self._opened()
        return self._labels.get(bytes.fromhex(photo[3:67]))

    def known_as(self, original: str) -> tuple[str, str] | None:
        """Photo and label of an original that is in the collection, by the sha256 of its bytes (or address)."""
        self._opened()
        digest = bytes.fromhex(original)
        digest = digest if digest in self._labels else self._known.get(digest[:16], b"")
        label = self._labels.get(digest)
        return None if label is None else (name_of(digest.hex()), label)

    def add(self, intake: Intake, progress: Progress = lambda done: None) -> Outcome:
        """Add what a plan says. Raises CollectionError where the plan is not acceptable, or the disk fails."""
        self._opened()
        return apply(intake, self, progress)

    def put(self, data: bytes, row: Row, original: str, plant: OwnSpecies | None = None) -> str | None:
        """Store a photo and its row; the label that it already has, where it is in, and then nothing is written.

        ``row.photo`` must be ``name_of`` the sha256 of ``data``. ``plant`` is written first if it is new.
        """
        with self.locked():
            self._catch_up()
            label = self.label_of(row.photo)
            if label is None:
                if plant is not None:
                    write_own(self.folder / "species", plant)
                self._store(self.file_of(row.photo), data)
                self._manifest.append(astuple(row))
            if label is None or label == row.species:
                self.remember(original, row.photo)
            self._catch_up()
        return label

    def remember(self, original: str, photo: str) -> None:
        """Note which photo an original became, unless that is known."""
        if self._known.get(bytes.fromhex(original)[:16]) != bytes.fromhex(photo[3:67]):
            self._originals.append((original, photo))

    def relabel(self, photo: str, species: str, by: str) -> Row:
        """Give a photo another label. Raises CollectionError where it is not in, or has that label already."""
        with self.locked():
            row = self._latest(photo)
            if row.species == species:
                raise CollectionError(f"{row.photo}: is {species} already")
            return self._append(replace(row, species=species, labelled_by=by, labelled_at=now(), action="relabel"))

    def remove(self, photo: str, by: str) -> Row:
        """Remove a photo: it is no longer learned from. Its file and history stay."""
        with self.locked():
            return self._append(replace(self._latest(photo), labelled_by=by, labelled_at=now(), action="remove"))

    def own_species(self) -> dict[str, OwnSpecies | Species]:
        """The species of the user's own, by id."""
        return read_own(self.folder / "species")

    def removed(self) -> int:
        """How many photos were taken back."""
        self._opened()
        return sum(label is None for label in self._labels.values())

    def orphans(self) -> list[Path]:
        """Files under photos/ that no row names: an interruption leaves them, and they do no harm."""
        self._opened()
        folder = self.folder / "photos"
        files = (path for path in sorted(folder.glob("*/*")) if path.is_file())
        return [p for p in files if not _is_photo(p, folder) or bytes.fromhex(p.stem) not in self._labels]

    def _opened(self) -> None:
        if not self._is_open:
            self.open()

    def _store(self, file: Path, data: bytes) -> None:
        """Write a photo's file, unless it lies there whole from an interrupted run."""
        if file.exists() and hashlib.sha256(file.read_bytes()).digest() == hashlib.sha256(data).digest():
            return
        file.parent.mkdir(parents=True, exist_ok=True)
        replace_file(file, data)

    def _latest(self, photo: str) -> Row:
        rows = self.history(photo)
        if rows[-1].action == "remove":
            raise CollectionError(f"{rows[-1].photo}: was taken back on {rows[-1].labelled_at}; add it again first")
        return rows[-1]

    def _append(self, row: Row) -> Row:
        if not LABEL.fullmatch(row.species):  # a row of it could not be read again
            raise CollectionError(f"{row.photo}: {row.species[:40]!r} is not the name of a species; give one on file")
        with self.locked():
            self._manifest.append(astuple(row))
            self._catch_up()
        return row

    def _rows(self) -> Iterator[Row]:
        manifest = GrowingFile(self._manifest.path, COLUMNS)
        return (Row(*cells) for _, cells in manifest.new_rows())

    def _catch_up(self) -> None:
        """Take in rows that this process has not read yet, whichever process wrote them."""
        for number, cells in self._manifest.new_rows():
            photo, species, action = cells[0], cells[1], cells[8]
            if not PHOTO_NAME.fullmatch(photo) or action not in ACTIONS or not LABEL.fullmatch(species):
                raise CollectionError(f"{self._manifest.path} line {number}: is not a collection row; fix that line")
            self._labels[bytes.fromhex(photo[3:67])] = None if action == "remove" else sys.intern(species)
        for _, (original, photo) in self._originals.new_rows():
            if ORIGINAL.fullmatch(original) and PHOTO_NAME.fullmatch(photo):
                self._known[bytes.fromhex(original)[:16]] = bytes.fromhex(photo[3:67])


def name_of(digest: str) -> str:
    """The name of a photo, from the sha256 of its stored bytes in hex digits."""
    return f"{digest[:2]}/{digest}.jpg"


def _is_photo(path: Path, folder: Path) -> bool:
    return PHOTO_NAME.fullmatch(path.relative_to(folder).as_posix()) is not None
