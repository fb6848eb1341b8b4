"""Put restored folders in the place of the old ones: a kill at any moment leaves the old ones or leads to the new.

.restoring/new/...   being unpacked and checked; deleted if that was interrupted, at the latest by the next start
.restored/new/...    the same folder once all of it is checked: from here on there is only forward
.restored/old/...    the old folders, on their way to
before-restore/...   the old folders, kept until the next restore, and beyond it where something signed is nowhere else
"""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing, suppress
from pathlib import Path

from filelock import FileLock

from app.records.database import FILE
from app.records.errors import RecordsError, in_a_sentence
from app.records.locks import ONE_RESTORE, all_locked, one_restore
from model.storage import move, sync_folder

FOLDERS = ("records", "collection", "models", "drafts", "labels", "slips")  # what matters of the user's folder
UNFINISHED, CHECKED, ASIDE = ".restoring", ".restored", "before-restore"
GONE = ".gone-"  # how a folder is called while its files are removed


def restore_is_pending(home: Path) -> bool:
    """Whether a restore was interrupted once all was checked, so that the next start completes it."""
    return (home / CHECKED).is_dir()


def finish_restore(home: Path) -> bool:
    """Go on with a restore that was interrupted after all was checked; whether there was one. Raises RecordsError."""
    if not restore_is_pending(home):
        return False
    with one_restore(home):
        switch_folders(home)
    return True


def sweep_restores(home: Path) -> None:
    """Remove what restores that were killed have left, unless one is at work."""
    if left := [*home.glob(UNFINISHED), *home.glob(f"{GONE}*")]:
        with suppress(OSError), FileLock(home / ONE_RESTORE, timeout=0):  # a lock that is held is an OSError too
            for folder in left:
                shutil.rmtree(folder, ignore_errors=True)


def switch_folders(home: Path, unpacked: Path | None = None) -> None:
    """Move the checked folders in and the old ones aside; may be done again after a kill at any point.

    ``unpacked``: a folder that was checked just now; it stays where it is while another program writes.
    Raises RecordsError, which says so where the next start goes on with it.
    """
    stage = home / CHECKED
    if unpacked is None and not stage.is_dir():
        return
    try:
        with in_a_sentence(home), all_locked(home):
            if unpacked is not None:
                move(unpacked, stage)
                sync_folder(home)
            _switch(home)
    except RecordsError as error:
        if not stage.is_dir():
            raise
        raise RecordsError(f"{error}; all is checked by now: the next start of swardkey goes on with it") from None


def _switch(home: Path) -> None:
    stage, aside = home / CHECKED, home / ASIDE
    new, old = stage / "new", stage / "old"
    for name in FOLDERS:
        if (new / name).is_dir():
            old.mkdir(exist_ok=True)
            if (home / name).exists():
                move(home / name, _unused_path(old / name))
            move(new / name, home / name)
    sync_folder(home)
    if old.is_dir():
        if signed_in(aside) <= signed_in(home) | signed_in(old):
            _remove(aside)
        else:
            move(aside, _unused_path(aside))
        move(old, aside)
    _remove(stage)
    sync_folder(home)


def signed_in(folder: Path) -> set[str]:
    """What is signed in the records of a folder; its own path where they cannot be read, which nothing else has."""
    book = folder / "records" / FILE
    if not book.is_file():
        return set()
    try:
        with closing(sqlite3.connect(book)) as opened:
            return {row[0] for row in opened.execute("SELECT sha256 FROM signed")}
    except sqlite3.Error:
        return {str(book)}


def _unused_path(path: Path) -> Path:
    """The path, or another beside it that nothing has yet."""
    number, found = 1, path
    while found.exists():
        number += 1
        found = path.with_name(f"{path.name}-{number}")
    return found


def _remove(folder: Path) -> None:
    """Out of sight in one move, then its files."""
    if folder.exists():
        hidden = folder.with_name(f"{GONE}{folder.name.lstrip('.')}")
        shutil.rmtree(hidden, ignore_errors=True)
        move(folder, hidden)
        shutil.rmtree(hidden, ignore_errors=True)
