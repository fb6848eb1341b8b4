"""The command `demo`: an invented town in a folder of its own, and the pages opened on it."""

from __future__ import annotations

import json
import os
import shutil
import sys
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Annotated

import typer
from filelock import FileLock, Timeout

from app.services.home import DEMO_MARK, expanded, home, is_demo
from model.errors import SwardkeyError

PATIENCE = 30.0  # seconds to wait for another swardkey that fills the same


class DemoError(SwardkeyError):
    """A demo cannot be made there. The message says why."""


def demo(
    folder: Annotated[
        Path | None,
        typer.Option("--folder", metavar="DIR", help="Where to; else a folder of its own beside your data."),
    ] = None,
    open_browser: Annotated[
        bool, typer.Option("--open/--no-open", help="Open the pages in the browser, or only serve them.")
    ] = True,
    port: Annotated[int, typer.Option(help="Port on this machine only.", min=1024, max=65535)] = 7860,
) -> None:
    """Show what swardkey does in an invented town, with drawn photos. Nothing of yours is touched."""
    from app.web.serving import serve_page

    place = expanded(folder or (home() if is_demo(home()) else home() / "demo")).absolute()
    state = "are" if make_demo(place) else "were already"
    sys.stdout.write(
        f"An invented town, its people and a season of drawn photos {state} in {place}\n"
        "Your own records are untouched; delete that folder to remove it.\n"
    )
    os.environ["SWARDKEY_HOME"] = str(place)
    sys.stdout.flush()
    serve_page(port, open_browser)


def make_demo(folder: Path, today: date | None = None) -> bool:
    """Fill a folder with the invented town, whole or not at all; False where it was filled already.

    Raises DemoError for a folder that holds something else, or is the user's own.
    """
    if is_demo(folder):
        return False
    _check(folder)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        with FileLock(folder.with_name(f".{folder.name}.lock"), timeout=PATIENCE):
            if is_demo(folder):  # another one was quicker
                return False
            _fill(folder, today or date.today())
    except Timeout:
        raise DemoError(f"{folder}: another swardkey is filling it; wait until it is done") from None
    except OSError as error:
        raise DemoError(f"{folder}: cannot be written ({error.strerror or error}); choose another --folder") from None
    return True


def _check(folder: Path) -> None:
    if folder.resolve() == home().resolve():
        raise DemoError(f"{folder}: is where your own records are kept; choose another --folder")
    if folder.exists() and not folder.is_dir():
        raise DemoError(f"{folder}: is a file; choose another --folder")
    if folder.is_dir() and any(folder.iterdir()):
        raise DemoError(f"{folder}: holds something else; choose an empty folder, or one that is not there yet")


def _fill(folder: Path, today: date) -> None:
    """Fill a hidden folder beside it, which then gets its name."""
    from app.demo.demo_book import enter_book  # a demo that is there already opens without it

    hidden = folder.with_name(f".{folder.name}.new")
    if hidden.exists() and not is_demo(hidden):
        raise DemoError(f"{hidden}: is in the way; move it elsewhere")
    shutil.rmtree(hidden, ignore_errors=True)
    hidden.mkdir()
    mark = {"what": "an invented town", "made_at": datetime.now(UTC).isoformat(timespec="seconds")}
    (hidden / DEMO_MARK).write_text(json.dumps(mark), encoding="utf-8")
    enter_book(hidden / "records", today)
    if folder.is_dir():
        folder.rmdir()
    hidden.rename(folder)
