"""Backups on the page of records: made, saved elsewhere and restored, beside the page, with where the data lie."""

from __future__ import annotations

import re
import shutil
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from app.present.finding import day_text
from app.records import back_up, plan_restore, restore
from app.services.home import home
from app.web.background import Progress, Work
from app.web.context import Context
from app.web.frame import Address, FormError, for_pages
from app.web.uploads import remove_upload
from model.errors import SwardkeyError

FOLDER = "backups"  # in the user's folder; no backup holds others
NAME = re.compile(r"[\w][\w .()-]{0,99}\.zip", re.IGNORECASE)
# What people call the folders that a backup holds.
CALLED = {
    "records": "the records",
    "collection": "your labelled photos",
    "models": "the photo models",
    "drafts": "plants in progress",
    "labels": "labels you have read",
    "slips": "how often people mistake one thing for another",
}
work = Work()


def show(address: Address) -> dict[str, Any]:
    """What the page shows: where all lies, the backups that are there, and what restoring one would do."""
    chosen = address.get("backup", "")
    plan: Any = None
    fault = ""
    if NAME.fullmatch(chosen):
        try:
            plan = plan_restore(file_of(chosen), home())
        except SwardkeyError as error:
            fault = for_pages(str(error))
    return {
        "home": str(home()),
        "folder": str(home() / FOLDER),
        "files": [_listed(file) for file in there()],
        "chosen": chosen,
        "plan": plan and _in_words(plan),
        "fault": fault,
        "state": work.state,
    }


def _listed(file: Path) -> dict[str, Any]:
    found = file.stat()
    return {"name": file.name, "day": day_text(datetime.fromtimestamp(found.st_mtime).date()), "size": found.st_size}


def there() -> list[Path]:
    """The backups in their folder, the newest first."""
    folder = home() / FOLDER
    found = [file for file in folder.glob("*.zip") if NAME.fullmatch(file.name) and file.is_file()]
    return sorted(found, key=lambda file: file.stat().st_mtime, reverse=True)


def file_of(name: str) -> Path:
    """A backup by its name. Raises FormError where there is none."""
    for file in there():
        if file.name == name:
            return file
    raise FormError("That backup is no longer there; choose another.")


def _in_words(plan: Any) -> dict[str, str]:
    """What restoring would do."""

    def listed(names: Sequence[str]) -> str:
        words = [CALLED.get(name, name) for name in names]
        return " and ".join(filter(None, (", ".join(words[:-1]), *words[-1:])))

    return {
        "made": plan.made_at,
        "files": str(plan.files),
        "holds": listed(plan.folders),
        "replaces": listed(plan.replaces),
        "stays": listed(plan.stays),
    }


def act(do: str, which: str) -> Address:
    """What a button does; where to go. Raises SwardkeyError where it cannot be."""
    match do:
        case "make_backup":
            make()
        case "restore":
            bring_back(which)
        case "choose_backup":
            return {"backup": file_of(which).name}
        case "clear":
            work.clear()
        case _:
            raise FormError("The backups had changed since this page was loaded; the page is up to date now.")
    return {"backup": "list"}


def make() -> None:
    """Make a backup of now, in the background."""
    folder = home() / FOLDER
    file = folder / f"swardkey-{datetime.now():%Y-%m-%d-%H%M%S}.zip"

    def run(progress: Progress) -> dict[str, Any]:
        folder.mkdir(parents=True, exist_ok=True)
        done = back_up(home(), file, lambda files: progress("Copying files.", files, 0))
        return {"made": file.name, "files": done.files, "notes": done.notes}

    work.start("The backup", run)


def bring_back(name: str) -> None:
    """Restore a backup, in the background."""
    plan = plan_restore(file_of(name), home())

    def run(progress: Progress) -> dict[str, Any]:
        # Whoever stops it while files are unpacked and checked has changed nothing.
        notes = restore(plan, lambda files: progress("Unpacking and checking.", files, plan.files))
        return {"restored": name, "notes": notes}

    work.start("Restoring", run)


def take_files(context: Context, files: Sequence[Path]) -> tuple[Address, list[str]]:
    """Put a backup that was chosen to the others, and look at it. Raises FormError for another file."""
    file = files[0]
    try:
        if not NAME.fullmatch(file.name):
            raise FormError(f"{file.name}: is not a backup; choose the zip that was saved.")
        target = home() / FOLDER / file.name
        if target.exists():
            raise FormError(f"{file.name}: is there already; it is in the list.")
        try:
            plan_restore(file, home())
        except SwardkeyError as error:
            raise FormError(str(error).replace(str(file), file.name)) from None
        target.parent.mkdir(parents=True, exist_ok=True)
        try:
            shutil.move(file, target)
        except OSError:  # it may come from another disk, and no room be left on this one
            target.unlink(missing_ok=True)
            raise
    finally:
        remove_upload(file)
    return {"backup": target.name}, []
