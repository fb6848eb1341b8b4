"""The visit that a photo belongs to, read from its metadata before they are left behind."""

from __future__ import annotations

import hashlib
import struct
import warnings
from datetime import date
from pathlib import Path

from PIL import Image, UnidentifiedImageError

from model.errors import PhotoError
from model.photo.decode import FORMATS

# Numbers of the EXIF standard: the block of camera settings, DateTimeOriginal, Make, Model.
_EXIF, _TAKEN, _MAKE, _MODEL = 0x8769, 0x9003, 0x010F, 0x0110
_EARLIEST = date(1990, 1, 1)  # before digital cameras: a clock that was never set


def group_of(path: Path) -> str:
    """The visit that a photo's metadata tell: the day it was taken, and four digits for the camera.

    The camera's name is hashed, so nothing that names it is kept; "" where no day is told.
    Raises PhotoError where the file is no photo at all, and OSError.

    Example: "2026-03-05 c1a2".
    """
    if path.stat().st_size == 0:
        raise PhotoError(f"{path}: is empty; copy the photo again")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(path, formats=FORMATS) as image:
                exif = image.getexif()
                taken = exif.get_ifd(_EXIF).get(_TAKEN)
                camera = " ".join(str(exif.get(tag, "")).strip("\0 ") for tag in (_MAKE, _MODEL)).strip()
    except UnidentifiedImageError:
        raise PhotoError(
            f"{path}: is not a photo that can be read (JPEG, PNG, WebP or HEIC); export it as JPEG"
        ) from None
    except Image.DecompressionBombError:
        raise PhotoError(f"{path}: has too many pixels to be a photo; export it smaller") from None
    except (SyntaxError, ValueError, TypeError, KeyError, IndexError, EOFError, struct.error, ZeroDivisionError):
        return ""  # the metadata are damaged; whether the picture is, adding it will show
    day = _day(str(taken or ""))
    if not day or not camera:
        return day
    return f"{day} {hashlib.sha256(camera.encode('utf-8', 'replace')).hexdigest()[:4]}"


def _day(taken: str) -> str:
    """The day in an EXIF time, `YYYY:MM:DD HH:MM:SS`, as YYYY-MM-DD; "" for clocks never set."""
    try:
        day = date(*(int(part) for part in taken[:10].split(":")))
    except (ValueError, TypeError):
        return ""
    return day.isoformat() if day >= _EARLIEST else ""
