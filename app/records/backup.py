"""One zip of everything that matters in the user's folder: every file with its sha256, and verified at once."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
import tempfile
import unicodedata
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from filelock import FileLock, Timeout

from app.records import journal
from app.records.chain import ROWS, SIGNED_LIST, list_signed, listed_rows, read_listed, read_marks
from app.records.check import check_records
from app.records.database import FILE
from app.records.errors import RecordsError, in_a_sentence
from app.records.locks import collection_and_models_locked
from app.records.record_book import Records
from app.records.switch import FOLDERS, finish_restore
from model.file import is_litter
from model.storage import beside, is_unfinished
from model.zip_file import fault_of_member, fault_of_name

MANIFEST = "manifest.json"
FORMAT = "swardkey backup"
FORMAT_VERSION = 1
MOST_FILES = 300_000
WORK_FOLDER, LOCK, ZIP = ".backing-up-", "lock", "zip.txt"  # a folder while a backup is made, and what is in it
Progress = Callable[[int], None]


@dataclass(frozen=True)
class BackedUp:
    """A backup that was written and verified. ``notes``: what is left out or not sound, in sentences.

    ``mark``: of the record book in it; "" while nothing is in it.
    """

    file: str
    folders: tuple[str, ...]
    files: int
    bytes: int
    notes: tuple[str, ...]
    mark: str = ""


def back_up(home: Path, file: Path, progress: Progress = lambda done: None) -> BackedUp:
    """Write the backup of ``home`` to a new file, whole or not at all. ``progress`` is called with the files done.

    The records are copied while others may use them; the collection and the models are locked.
    Raises RecordsError, also where the file is there already.
    """
    if file.exists():
        raise RecordsError(f"{file}: is there already; give the backup another name")
    if not file.parent.is_dir():
        raise RecordsError(f"{file.parent}: no such folder; make it, or choose another")
    finish_restore(home)
    folders = tuple(name for name in FOLDERS if (home / name).is_dir())
    if not folders:
        raise RecordsError(f"{home}: holds nothing yet that could be backed up")
    notes: list[str] = []
    with in_a_sentence(file), beside(file) as unfinished, _work_folder(home, unfinished) as work:
        unfinished.touch(0o600, exist_ok=False)
        with unfinished.open("wb") as out:
            with zipfile.ZipFile(out, "w", strict_timestamps=False) as archive, collection_and_models_locked(home):
                files = _add_files(archive, _sources(home, folders, work, notes), progress)
                mark = _mark(work / FILE)
                archive.writestr(MANIFEST, json.dumps(_manifest(folders, files, mark), indent=1, ensure_ascii=False))
            out.flush()
            os.fsync(out.fileno())
        _verify(unfinished)
        size = unfinished.stat().st_size
    return BackedUp(str(file), folders, len(files), size, tuple(notes), mark)


@contextmanager
def _work_folder(home: Path, unfinished: Path) -> Iterator[Path]:
    """A folder inside the user's for a copy of the record book; it names the unfinished zip, should this be killed."""
    try:
        folder = tempfile.TemporaryDirectory(prefix=WORK_FOLDER, dir=home)
    except OSError:  # a book on a disk that cannot be written is backed up all the same
        folder = tempfile.TemporaryDirectory(prefix=WORK_FOLDER)
    with folder as made:
        work = Path(made)
        with FileLock(work / LOCK):
            (work / ZIP).write_text(str(unfinished.absolute()), encoding="utf-8")
            yield work


def sweep_backups(home: Path) -> None:
    """Remove what backups that were killed have left, in the user's folder and beside the zip that they wrote."""
    for work in home.glob(f"{WORK_FOLDER}*"):
        with suppress(OSError, Timeout, UnicodeDecodeError), FileLock(work / LOCK, timeout=0):
            named = Path((work / ZIP).read_text(encoding="utf-8")) if (work / ZIP).is_file() else work
            if is_unfinished(named):
                named.unlink(missing_ok=True)
            shutil.rmtree(work, ignore_errors=True)


def _add_files(
    archive: zipfile.ZipFile, sources: Iterator[tuple[str, Path]], progress: Progress
) -> dict[str, dict[str, object]]:
    """Add all files; size and sha256 of each, by its name in the zip."""
    files: dict[str, dict[str, object]] = {}
    for name, path in sources:
        try:
            source = path.open("rb")
        except FileNotFoundError:  # a draft that was deleted meanwhile
            continue
        if len(files) >= MOST_FILES:
            raise RecordsError(f"there are over {MOST_FILES} files, more than a backup takes; remove some")
        info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
        info.external_attr = 0o100600 << 16
        with source, archive.open(info, "w", force_zip64=True) as member:
            sha256 = hashlib.file_digest(source, "sha256").hexdigest()
            source.seek(0)
            shutil.copyfileobj(source, member)
            files[name] = {"size": source.tell(), "sha256": sha256}
        progress(len(files))
    return files


def _mark(book: Path) -> str:
    """The mark of the record book that goes into the zip."""
    if not book.is_file():
        return ""
    with closing(sqlite3.connect(book)) as opened:
        return journal.mark(opened)


def _manifest(folders: tuple[str, ...], files: dict[str, dict[str, object]], mark: str) -> dict[str, object]:
    try:
        made_by = version("swardkey")
    except PackageNotFoundError:
        made_by = "unknown"
    made_at = datetime.now(UTC).isoformat(timespec="seconds")
    about = {"format": FORMAT, "version": FORMAT_VERSION, "made_at": made_at, "made_by": made_by, "mark": mark}
    return {**about, "folders": folders, "files": files}


def _sources(home: Path, folders: tuple[str, ...], work: Path, notes: list[str]) -> Iterator[tuple[str, Path]]:
    """Names in the zip and the files they come from: the record book from a copy of it in the ``work`` folder."""
    seen: set[str] = set()
    for folder in folders:
        if folder == "records":
            if (home / "records" / FILE).is_file():
                yield from _record_book(home / "records", work, notes)
            else:
                notes.append(f"{home / 'records' / FILE}: there is no such file, so no record is in this backup")
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


def _record_book(records: Path, work: Path, notes: list[str]) -> Iterator[tuple[str, Path]]:
    heads, book = work / SIGNED_LIST, work / FILE
    # Read before the book: what is noted meanwhile may belong to rows that the copy does not have.
    listed, marks = read_listed(records / SIGNED_LIST), read_marks(records / SIGNED_LIST)
    with Records(records) as opened:
        notes += [f"the records are not sound: {fault}" for fault in check_records(opened).faults]
        opened.database.copy_to(book)
    with closing(sqlite3.connect(book)) as copy:
        rows = copy.execute(ROWS).fetchall()
    later = [row for row in listed_rows(records, rows) if len(listed) < row[0] <= len(rows)]
    if listed or later:
        list_signed(heads, [*listed, *later], marks)
        yield f"records/{SIGNED_LIST}", heads
    yield f"records/{FILE}", book


def _verify(file: Path) -> None:
    """Raises RecordsError where the zip does not hold what was put into it."""
    with zipfile.ZipFile(file) as archive:
        for name, entry in json.loads(archive.read(MANIFEST))["files"].items():
            with archive.open(name) as member:
                found = hashlib.file_digest(member, "sha256").hexdigest()  # type: ignore[arg-type]  # it can readinto
            if found != entry["sha256"]:
                raise RecordsError(f"{file}: {name} was not written correctly; the disk may be failing, use another")
