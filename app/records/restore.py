"""Bring back a backup: everything in it is checked before anything in the user's folder changes."""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import sqlite3
import unicodedata
import zipfile
from contextlib import closing
from dataclasses import dataclass
from itertools import accumulate
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from app.records import journal, schema
from app.records.backup import FORMAT, FORMAT_VERSION, MANIFEST, MOST_FILES, Progress
from app.records.chain import ROWS, SIGNED_LIST, listed_rows
from app.records.check import check_records, expected_shape
from app.records.database import FILE
from app.records.errors import RecordsError, in_a_sentence
from app.records.fields import Sha256
from app.records.locks import one_restore
from app.records.record_book import Records
from app.records.switch import ASIDE, FOLDERS, UNFINISHED, finish_restore, signed_in, switch_folders
from model.storage import sync_folder
from model.text import counted, shown
from model.validation import first_cause
from model.zip_file import BROKEN, entries_at_most, fault_of_member, fault_of_name

LONGEST_ENTRY = 500  # bytes of one file in our own list
CHUNK = 1 << 20  # bytes unpacked at a time
_RECORDS = re.compile(rf"records/({re.escape(FILE)}|signed\.txt|photos/([0-9a-f]{{2}})/\2[0-9a-f]{{62}}\.jpg)")


class Entry(BaseModel):
    """A file of the backup."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    size: Annotated[int, Field(ge=0)]
    sha256: Sha256


class Manifest(BaseModel):
    """manifest.json of a backup."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    format: Literal["swardkey backup"]
    version: int
    made_at: str
    made_by: str
    mark: str = ""
    folders: tuple[Literal["records", "collection", "models", "drafts", "labels", "slips"], ...]
    files: dict[str, Entry]


@dataclass(frozen=True)
class Restore:
    """A backup whose list of files was checked, and what bringing it back would do.

    ``replaces`` are folders of now that are kept aside; ``stays`` those that the backup has nothing of. ``unlisted``:
    signed rows that signed.txt does not list are taken all the same.
    """

    file: Path
    home: Path
    made_at: str
    folders: tuple[str, ...]
    files: int
    bytes: int
    replaces: tuple[str, ...]
    stays: tuple[str, ...]
    unlisted: bool = False

    def __str__(self) -> str:
        text = f"{self.file}: {self.files} files of {self.made_at} ({', '.join(self.folders)})"
        if self.replaces:
            text += f"; what is now in {', '.join(self.replaces)} goes to {self.home / ASIDE}"
        if self.stays:
            text += f"; it has nothing of {', '.join(self.stays)}, which stays as it is"
        return text


def plan_restore(file: Path, home: Path, unlisted: bool = False) -> Restore:
    """Check the names, kinds and sizes in a backup. Raises RecordsError for one not ours, or built to do harm."""
    with in_a_sentence(file), _opened(file) as archive:
        manifest = _manifest(file, archive)
    there = tuple(name for name in FOLDERS if (home / name).is_dir())
    return Restore(
        file=file,
        home=home,
        made_at=shown(manifest.made_at, 40),
        folders=manifest.folders,
        files=len(manifest.files),
        bytes=sum(entry.size for entry in manifest.files.values()),
        replaces=tuple(name for name in there if name in manifest.folders),
        stays=tuple(name for name in there if name not in manifest.folders),
        unlisted=unlisted,
    )


def restore(plan: Restore, progress: Progress = lambda done: None) -> tuple[str, ...]:
    """Unpack beside, check every file and the records, then switch the folders; the old ones are kept aside.

    A kill leaves the old state, or the new one once swardkey is started again. Gives what a person should know of the
    records that were restored, in sentences. Raises RecordsError.
    """
    home, notes = plan.home, tuple[str, ...]()
    with in_a_sentence(home):
        home.mkdir(parents=True, exist_ok=True)
        free = shutil.disk_usage(home).free
    if plan.bytes > free:
        raise RecordsError(f"{home}: the backup needs {plan.bytes} bytes and {free} are free; make room")
    finish_restore(home)
    with one_restore(home):
        stage = home / UNFINISHED
        shutil.rmtree(stage, ignore_errors=True)
        try:
            _unpack(plan, stage / "new", progress)
            if "records" in plan.folders:
                notes = _check_book(plan.file, stage / "new" / "records", plan.unlisted)
                notes += _signed_rows_not_in_backup(home, stage / "new")
            switch_folders(home, stage)
        except BaseException:
            shutil.rmtree(stage, ignore_errors=True)
            raise
    return notes


def _signed_rows_not_in_backup(home: Path, new: Path) -> tuple[str, ...]:
    """What of the present records was signed and is not among those that come."""
    if count := len(signed_in(home) - signed_in(new)):
        rows = counted(count, "signed row")
        return (f"{rows} of the records until now {'is' if count == 1 else 'are'} not in the backup: see {ASIDE}",)
    return ()


def _opened(file: Path) -> zipfile.ZipFile:
    try:
        if entries_at_most(file, MOST_FILES) > MOST_FILES:
            raise RecordsError(f"{file}: lists more files than any backup has; it is refused")
        return zipfile.ZipFile(file)
    except BROKEN as error:
        raise RecordsError(f"{file}: is not a readable backup ({shown(str(error))}); use another") from None


def _manifest(file: Path, archive: zipfile.ZipFile) -> Manifest:
    """The list of files, once the members of the zip are exactly those, by name, kind and size."""
    members = archive.infolist()
    _check_members(file, members)
    try:
        if archive.getinfo(MANIFEST).file_size > 1000 + LONGEST_ENTRY * len(members):
            raise RecordsError(f"{file}: its list of files is too long; the backup is refused, use another")
        manifest = Manifest.model_validate(json.loads(archive.read(MANIFEST)))
    except KeyError:
        raise RecordsError(f"{file}: is not a backup of swardkey, it has no {MANIFEST}; use another") from None
    except ValidationError as error:
        raise RecordsError(f"{file}: its {MANIFEST} is not valid ({first_cause(error)}); use another") from None
    except (*BROKEN, RecursionError):
        raise RecordsError(f"{file}: its {MANIFEST} is damaged; use another") from None
    if manifest.version != FORMAT_VERSION:
        raise RecordsError(f"{file}: is a {FORMAT} of version {manifest.version}; use the swardkey that made it")
    listed = {(name, entry.size) for name, entry in manifest.files.items()}
    found = {(info.filename, info.file_size) for info in members if info.filename != MANIFEST}
    for name, _ in sorted(listed ^ found):
        raise RecordsError(f"{file}: {shown(name)} is not as its {MANIFEST} says; the backup is refused, use another")
    for name in manifest.files:
        if name.split("/")[0] not in manifest.folders:
            raise RecordsError(f"{file}: {shown(name)} is in no folder that its {MANIFEST} names; use another")
    return manifest


def _check_members(file: Path, members: list[zipfile.ZipInfo]) -> None:
    """Raises RecordsError for members that could not be in a backup of ours, or that would overwrite one another."""
    size = file.stat().st_size
    seen: set[str] = set()
    folders: set[str] = set()
    for info in members:
        name = info.orig_filename
        folded = unicodedata.normalize("NFC", name).casefold()
        fault = fault_of_name(name) or fault_of_member(info, size) or _fault_in_backup(info)
        if not fault and folded in seen:
            fault = "has the same name as another, or differs in case or accents only"
        if fault:
            raise RecordsError(f"{file}: member {shown(name)} {fault}; the backup is refused, use another")
        seen.add(folded)
        folders.update(accumulate(folded.split("/")[:-1], lambda above, part: f"{above}/{part}"))
    for name in sorted(folders & seen):
        raise RecordsError(f"{file}: {shown(name)} is both a file and a folder; the backup is refused, use another")
    # Nothing is packed, so no more can come out than is in the file.
    if sum(info.file_size for info in members) > size:
        raise RecordsError(f"{file}: its members overlap; the backup is refused, use another")


def _fault_in_backup(info: zipfile.ZipInfo) -> str:
    """Why a member belongs in no backup of ours; "" for one that does."""
    name = info.orig_filename
    top = name.split("/")[0]
    if info.is_dir() or (name != MANIFEST and (top not in FOLDERS or "/" not in name)):
        return "belongs in no backup"
    if top == "records" and not _RECORDS.fullmatch(name):
        return "belongs in no record book"
    return "is packed" if info.compress_type != zipfile.ZIP_STORED else ""


def _unpack(plan: Restore, target: Path, progress: Progress) -> None:
    """Write every file under names that were checked, all of it on the disk, each as its sha256 says."""
    for folder in plan.folders:
        (target / folder).mkdir(parents=True, exist_ok=True)
    with _opened(plan.file) as archive:
        # Checked again: the file may have been changed since the plan was made.
        manifest = _manifest(plan.file, archive)
        if (manifest.folders, len(manifest.files)) != (plan.folders, plan.files):
            raise RecordsError(f"{plan.file}: was changed meanwhile; do that again")
        for number, (name, entry) in enumerate(manifest.files.items(), start=1):
            try:
                found = _unpack_member(archive, name, target / name, entry.size)
            except BROKEN as error:
                cause = shown(str(error))
                raise RecordsError(f"{plan.file}: {name} is damaged in the backup ({cause}); use another") from None
            if found != entry.sha256:
                raise RecordsError(f"{plan.file}: {name} is not what was backed up; use another")
            if name.startswith("records/photos/") and not name.endswith(f"/{found}.jpg"):
                raise RecordsError(f"{plan.file}: {name} is not the photo of that name; use another")
            progress(number)
    for folder, _, _ in os.walk(target):
        sync_folder(Path(folder))


def _unpack_member(archive: zipfile.ZipFile, name: str, file: Path, size: int) -> str:
    """Write a member of at most ``size`` bytes; the sha256 of what was written."""
    digest, left = hashlib.sha256(), size
    file.parent.mkdir(parents=True, exist_ok=True)
    with archive.open(name) as member, file.open("xb") as out:
        while chunk := member.read(min(CHUNK, left + 1)):
            left -= len(chunk)
            if left < 0:
                raise RecordsError(f"{name} is longer than the backup says; use another")
            digest.update(chunk)
            out.write(chunk)
        out.flush()
        os.fsync(out.fileno())
    return digest.hexdigest()


def _check_book(file: Path, records: Path, unlisted: bool) -> tuple[str, ...]:
    """Raises RecordsError where the record book of the backup is not ours, not sound, or signed rows are not listed.

    What another program did to other rows is no reason to lose the rest: it is said, and the journal goes on saying it.
    """
    book = records / FILE
    if not book.is_file():
        return ()
    # Before anything runs in it: a foreign trigger would run with the first change.
    with in_a_sentence(file), closing(sqlite3.connect(f"{book.as_uri()}?mode=ro", uri=True)) as opened:
        version = opened.execute("PRAGMA user_version").fetchone()[0]
        if version < 1 or (version <= len(schema.MIGRATIONS) and schema.shape(opened) != expected_shape(version)):
            raise RecordsError(f"{file}: its record book is not as swardkey makes them; it is refused, use another")
    try:
        with Records(records) as found:
            if not unlisted:
                _check_list(file, found)
            faults = check_records(found, all_noted=False, with_journal=False).faults or _unreadable_rows(found)
            notes = tuple(journal.faults(found.database.connection))
    except (ValueError, TypeError, LookupError, AttributeError, RecursionError) as error:
        # Rows of a form that swardkey never writes.
        raise RecordsError(f"{file}: its records are not sound ({type(error).__name__}); use another") from None
    if faults:
        raise RecordsError(f"{file}: its records are not sound ({faults[0]}); use another")
    return notes


def _check_list(file: Path, records: Records) -> None:
    """Raises RecordsError where signed.txt does not list all signed rows: they may have been rewritten since."""
    rows = [(row[0], row[1]) for row in records.database.read(ROWS)]
    listed = len(listed_rows(records.folder, rows))
    if listed < len(rows):
        raise RecordsError(
            f"{file}: its {SIGNED_LIST} lists {listed} of {counted(len(rows), 'signed row')}, so the others may have "
            f"been rewritten; use another backup, or compare the hash of its last signed row, {rows[-1][1][:16]}, with "
            "the signatures on printed records and then restore it all the same in a terminal (--unlisted)"
        )


def _unreadable_rows(records: Records) -> tuple[str, ...]:
    """Read everything once: a row of a form that swardkey never writes would else be met in the middle of work."""
    try:
        records.clients()
        records.sites()
        records.treatments()
        records.recent_drafts(most=MOST_FILES)
        for visit in records.visits():
            records.unsigned_record("visit", visit.id)
    except RecordsError as error:
        return (str(error),)
    return ()
