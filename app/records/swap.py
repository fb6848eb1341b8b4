"""Put restored folders in the place of the old ones: a kill at any moment leaves the old ones or leads to the new.

.restoring/new/...   being unpacked and checked; thrown away if that was interrupted
.restored/new/...    the same folder once all of it is checked: from here on there is only forward
.restored/old/...    the old folders, on their way to
before-restore/...   the old folders, kept until the next restore, and beyond it where something signed is nowhere else
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from app.records.database import FILE, PATIENCE
from app.records.freeze import held_still
from app.records.refusals import RecordsError, in_a_sentence
from model.storage import Step, go_on, move, sync_folder

FOLDERS = ("records", "collection", "models", "drafts", "labels")  # what matters of the user's folder
UNFINISHED, CHECKED, ASIDE = ".restoring", ".restored", "before-restore"


def finish_restore(home: Path, step: Step = go_on) -> bool:
    """Go on with a restore that was interrupted after all was checked; whether there was one. Raises RecordsError."""
    if not (home / CHECKED).is_dir():
        return False
    with one_restore(home):
        swap_in(home, step)
    return True


def swap_in(home: Path, step: Step = go_on, unpacked: Path | None = None) -> None:
    """Move the checked folders in and the old ones aside; may be done again after a kill at any step.

    ``unpacked``: a folder that was checked just now; it stays where it is while another program writes.
    Raises RecordsError, which says so where the next start goes on with it.
    """
    stage = home / CHECKED
    if unpacked is None and not stage.is_dir():
        return
    try:
        with in_a_sentence(home), _nobody_writes(home):
            if unpacked is not None:
                move(unpacked, stage)
                sync_folder(home)
                step("checked for good")
            _swapped(home, step)
    except RecordsError as error:
        if not stage.is_dir():
            raise
        raise RecordsError(f"{error}; all is checked by now: the next start of swardkey goes on with it") from None


def _swapped(home: Path, step: Step) -> None:
    stage, aside = home / CHECKED, home / ASIDE
    new, old = stage / "new", stage / "old"
    for name in FOLDERS:
        if (new / name).is_dir():
            old.mkdir(exist_ok=True)
            if (home / name).exists():
                move(home / name, _free(old / name))
                step(f"{name} aside")
            move(new / name, home / name)
            step(f"{name} in place")
    sync_folder(home)
    if old.is_dir():
        if _signed(aside) <= _signed(home) | _signed(old):
            _remove(aside)
        else:
            move(aside, _free(aside))
        step("the former old folders gone")
        move(old, aside)
        step("the old folders kept")
    _remove(stage)
    sync_folder(home)
    step("restored")


@contextmanager
def one_restore(home: Path) -> Iterator[None]:
    """One restore at a time. Raises RecordsError."""
    try:
        with in_a_sentence(home), FileLock(home / ".restore.lock", timeout=PATIENCE):
            yield
    except Timeout:
        raise RecordsError("another swardkey is restoring a backup; wait until it is done") from None


@contextmanager
def _nobody_writes(home: Path) -> Iterator[None]:
    """Whoever wants to write to the old records waits, and then finds that their file is another one."""
    book = home / "records" / FILE
    if os.name == "nt":  # Windows itself refuses to move what somebody has open
        yield
        return
    with held_still(home):
        if not book.is_file():
            yield
            return
        with closing(sqlite3.connect(book, timeout=PATIENCE, isolation_level=None)) as held:
            try:
                held.execute("BEGIN IMMEDIATE")
            except sqlite3.DatabaseError as error:
                if getattr(error, "sqlite_errorcode", 0) & 0xFF == sqlite3.SQLITE_BUSY:
                    raise
                # A damaged book cannot be written to by anybody.
            yield


def _signed(folder: Path) -> set[str]:
    """What is signed in the records of a folder; its own path where they cannot be read, which nothing else has."""
    book = folder / "records" / FILE
    if not book.is_file():
        return set()
    try:
        with closing(sqlite3.connect(book)) as opened:
            return {row[0] for row in opened.execute("SELECT sha256 FROM signed")}
    except sqlite3.Error:
        return {str(book)}


def _free(path: Path) -> Path:
    """The path, or another beside it that nothing has yet."""
    number = 1
    found = path
    while found.exists():
        number += 1
        found = path.with_name(f"{path.name}-{number}")
    return found


def _remove(folder: Path) -> None:
    """Out of sight in one move, then its files."""
    if folder.exists():
        hidden = folder.with_name(f".gone-{folder.name.lstrip('.')}")
        shutil.rmtree(hidden, ignore_errors=True)
        move(folder, hidden)
        shutil.rmtree(hidden, ignore_errors=True)
