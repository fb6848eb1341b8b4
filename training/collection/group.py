"""The visit that a photo belongs to, read from its metadata before they are left behind."""

from __future__ import annotations

import hashlib
from datetime import date
from pathlib import Path

from model.photo.sandbox import the_sandbox

_EARLIEST = date(1990, 1, 1)  # before digital cameras: a clock that was never set


def group_of(path: Path) -> str:
    """The visit by a photo's metadata: the day it was taken, and four digits for the camera.

    The camera's name is hashed, so nothing that names it is kept; "" where no day is given.
    Raises PhotoError where the file is not a photo.

    Example: "2026-03-05 c1a2".
    """
    taken, camera = the_sandbox().time_and_camera(path)
    day = _day(taken)
    if not day or not camera:
        return day
    return f"{day} {hashlib.sha256(camera.encode('utf-8', 'replace')).hexdigest()[:4]}"


def day_of(path: Path) -> str:
    """The day a photo was taken, by its metadata, as YYYY-MM-DD; "" where none is given.

    Raises PhotoError where the file is not a photo.
    """
    return _day(the_sandbox().time_and_camera(path)[0])


def _day(taken: str) -> str:
    """The day in an EXIF time, `YYYY:MM:DD HH:MM:SS`, as YYYY-MM-DD; "" for clocks never set."""
    try:
        day = date(*(int(part) for part in taken[:10].split(":")))
    except (ValueError, TypeError):
        return ""
    return day.isoformat() if day >= _EARLIEST else ""
