"""Photos of the records: upright pixels without metadata, each in a file that its sha256 names."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from app.records.errors import RecordsError
from model.storage import replace_file

_SHA256 = re.compile(r"[0-9a-f]{64}")


def keep_photo(photo: Path, folder: Path) -> str:
    """Write the photo's stripped JPEG under its sha256, which is returned. Raises PhotoError, OSError."""
    from model.photo.stored import stored_jpeg  # lists and searches start without the picture libraries

    data = stored_jpeg(photo)
    sha256 = hashlib.sha256(data).hexdigest()
    file = folder / photo_name(sha256)
    if not (file.is_file() and hashlib.sha256(file.read_bytes()).hexdigest() == sha256):
        file.parent.mkdir(parents=True, exist_ok=True)
        replace_file(file, data)
    return sha256


def photo_name(sha256: str) -> str:
    """Where a photo lies in its folder. Raises RecordsError for anything but a sha256.

    >>> photo_name("ab" * 32)[:5]
    'ab/ab'
    """
    if not _SHA256.fullmatch(sha256):
        raise RecordsError("that is not the name of a photo in the records")
    return f"{sha256[:2]}/{sha256}.jpg"
