"""Small copies of photos, upright and without metadata."""

from __future__ import annotations

import io
from pathlib import Path

from PIL import Image

from model.errors import PhotoError
from model.photo.sandbox import open_photo


def thumbnail(file: Path, size: tuple[int, int]) -> Image.Image | None:
    """A copy of a photo within ``size`` (width, height in px); None where it cannot be read."""
    try:
        image = Image.fromarray(open_photo(file).pixels)
    except (PhotoError, OSError):
        return None
    image.thumbnail(size)
    return image


def jpeg_thumbnail(file: Path, size: tuple[int, int], quality: int) -> bytes | None:
    """The same as a JPEG file; ``quality`` 1 to 95."""
    image = thumbnail(file, size)
    if image is None:
        return None
    out = io.BytesIO()
    image.save(out, "JPEG", quality=quality)
    return out.getvalue()
