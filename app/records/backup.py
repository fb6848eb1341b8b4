"""One zip of everything that matters in the user's folder: every file with its sha256, and read back at once."""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
import unicodedata
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import BinaryIO

from app.records.chain import HEADS
from app.records.check import check_records
from app.records.database import FILE
from app.records.drafts import Drafts
from app.records.freeze import held_still
from app.records.refusals import RecordsError, in_a_sentence
from app.records.swap import FOLDERS, finish_restore
from model.file import is_litter
from model.storage import Step, beside, go_on
from model.zip_file import fault_of_member, fault_of_name

MANIFEST = "manifest.json"
FORMAT = "swardkey backup"
FORMAT_VERSION = 1
MOST_FILES = 300_000
_CHUNK = 1 << 20
Progress = Callable[[int], None]


@dataclass(frozen=True)
class BackedUp:
    """A backup that was written and read back. ``notes``: what is left out or not sound, in sentences."""

    file: str
    folders: tuple[str, ...]
    files: int
    bytes: int
    notes: tuple[str, ...]


def back_up(home: Path, file: Path, step: Step = go_on, progress: Progress = lambda done: None) -> BackedUp:
    """Write the backup of ``home`` to a new file, whole or not at all. ``progress`` is told the files done.

    The records are copied while others may use them; the collection and the models are held still.
    Raises RecordsError, also where the file is there already.
    """
    if file.exists():
        raise RecordsError(f"{file}: is there already; give the backup another name")
    if not file.parent.is_dir():
        raise RecordsError(f"{file.parent}: no such folder; make it, or choose another")
    finish_restore(home)
    with in_a_sentence(file), beside(file) as unfinished, tempfile.TemporaryDirectory(prefix="swardkey-") as folder:
        done = _written(home, unfinished, Path(folder), step, progress)
        step("backup written")
        _read_back(unfinished)
        step("backup read back")
    step("backup in place")
    return BackedUp(str(file), *done)


def _written(
    home: Path, target: Path, spare: Path, step: Step, progress: Progress
) -> tuple[tuple[str, ...], int, int, tuple[str, ...]]:
    """Write the zip; its folders, files, bytes and notes."""
    notes: list[str] = []
    entries: dict[str, dict[str, object]] = {}
    folders = tuple(name for name in FOLDERS if (home / name).is_dir())
    if not folders:
        raise RecordsError(f"{home}: holds nothing yet that could be backed up")
    target.unlink(missing_ok=True)
    with target.open("xb") as out:
        with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED, strict_timestamps=False) as archive, held_still(home):
            for name, path in _sources(home, folders, spare, notes, step):
                try:
                    source = path.open("rb")
                except FileNotFoundError:  # a draft that was thrown away meanwhile
                    continue
                if len(entries) >= MOST_FILES:
                    raise RecordsError(f"{home}: holds over {MOST_FILES} files, more than a backup takes; thin it out")
                with source:
                    entries[name] = _added(archive, name, source)
                progress(len(entries))
                step("file added")
            manifest = {
                "format": FORMAT,
                "version": FORMAT_VERSION,
                "made_at": datetime.now(UTC).isoformat(timespec="seconds"),
                "made_by": _our_version(),
                "folders": folders,
                "files": entries,
            }
            archive.writestr(MANIFEST, json.dumps(manifest, indent=1, ensure_ascii=False))
        out.flush()
        os.fsync(out.fileno())
    return folders, len(entries), target.stat().st_size, tuple(notes)


def _sources(
    home: Path, folders: tuple[str, ...], spare: Path, notes: list[str], step: Step
) -> Iterator[tuple[str, Path]]:
    """Names in the zip and the files they come from: the record book from a copy of it."""
    seen: set[str] = set()
    for folder in folders:
        if folder == "records" and (home / "records" / FILE).is_file():
            yield from _record_book(home / "records", spare, notes, step)
        for path in sorted((home / folder).rglob("*")):
            name = path.relative_to(home).as_posix()
            if path.is_symlink() or not path.is_file() or is_litter(name) or path.suffix == ".lock":
                continue
            if folder == "records" and not name.startswith("records/photos/"):
                continue  # the book itself, and copies of it from before a migration
            # What restore would refuse is not put in.
            fault = fault_of_name(name) or fault_of_member(zipfile.ZipInfo(name))
            folded = unicodedata.normalize("NFC", name).casefold()
            if not fault and folded in seen:
                fault = "has the name of another file but for case or accents"
            seen.add(folded)
            if fault:
                notes.append(f"{path}: left out, because it {fault}")
                continue
            yield name, path


def _record_book(records: Path, spare: Path, notes: list[str], step: Step) -> Iterator[tuple[str, Path]]:
    heads, book = spare / HEADS, spare / FILE
    # Read before the book: what is signed meanwhile is then in the book only, which is sound.
    if (records / HEADS).is_file():
        heads.write_bytes((records / HEADS).read_bytes())
        yield f"records/{HEADS}", heads
    with Drafts(records, step) as opened:
        notes += [f"the records are not sound: {fault}" for fault in check_records(opened).faults]
        opened.copy_to(book)
    yield f"records/{FILE}", book


def _added(archive: zipfile.ZipFile, name: str, source: BinaryIO) -> dict[str, object]:
    digest, size = hashlib.sha256(), 0
    info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
    info.external_attr = 0o100600 << 16
    with archive.open(info, "w", force_zip64=True) as member:
        while chunk := source.read(_CHUNK):
            digest.update(chunk)
            size += len(chunk)
            member.write(chunk)
    return {"size": size, "sha256": digest.hexdigest()}


def _read_back(file: Path) -> None:
    """Raises RecordsError where the zip does not hold what was put into it."""
    with zipfile.ZipFile(file) as archive:
        for name, entry in json.loads(archive.read(MANIFEST))["files"].items():
            digest = hashlib.sha256()
            with archive.open(name) as member:
                while chunk := member.read(_CHUNK):
                    digest.update(chunk)
            if digest.hexdigest() != entry["sha256"]:
                raise RecordsError(f"{file}: {name} was not written as it is; the disk fails, use another")


def _our_version() -> str:
    try:
        return version("swardkey")
    except PackageNotFoundError:
        return "unknown"
