"""Small copies of photos, upright and without metadata."""

from __future__ import annotations

import io
from pathlib import Path

from PIL import Image

from model.errors import PhotoError
from model.photo.decode import Photo
from model.photo.sandbox import open_photo

Size = tuple[int, int]  # width and height in px, at most


def thumbnail(file: Path, size: Size) -> Image.Image | None:
    """A small copy of a photo; None where it cannot be read."""
    try:
        return _scaled(open_photo(file), size)
    except (PhotoError, OSError):
        return None


def jpeg_thumbnail(file: Path, size: Size, quality: int) -> bytes | None:
    """The same as a JPEG file; ``quality`` 1 to 95."""
    image = thumbnail(file, size)
    return _as_jpeg(image, quality) if image is not None else None


def jpeg_of(photo: Photo, size: Size, quality: int) -> bytes:
    """A small copy of a photo that is open already, as a JPEG file."""
    return _as_jpeg(_scaled(photo, size), quality)


def _scaled(photo: Photo, size: Size) -> Image.Image:
    image = Image.fromarray(photo.pixels)
    image.thumbnail(size)
    return image


def _as_jpeg(image: Image.Image, quality: int) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", quality=quality)
    return out.getvalue()
