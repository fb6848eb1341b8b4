"""What is kept of a photo: its upright pixels as a JPEG without any metadata."""

from __future__ import annotations

import hashlib
import io
import warnings
from pathlib import Path

from PIL import Image, ImageOps

from model.errors import PhotoError
from model.photo.decode import FORMATS, _eight_bit_rgb, open_photo

LONGEST_SIDE = 1600  # px: four times what the photo model looks at
QUALITY = 95
_CHUNK = 1 << 20


def sha256_of(path: Path) -> str:
    """The sha256 of a file's bytes, 64 hex digits. Raises OSError."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            digest.update(chunk)
    return digest.hexdigest()


def stored_jpeg(path: Path) -> bytes:
    """The JPEG that the collection keeps: upright, longest side at most LONGEST_SIDE, no EXIF, ICC, XMP or comment.

    The photo passes open_photo first, so its checks hold here too. Raises PhotoError, also for
    a photo in which nothing can be made out, and OSError.
    """
    opened = open_photo(path)
    if not opened.usable:
        raise PhotoError(f"{path}: {opened.notes[0]}")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # open_photo has checked the size
            image = _upright(path)
    except (SyntaxError, ValueError, EOFError) as error:
        raise PhotoError(f"{path}: is damaged ({error}); copy or take the photo again") from None
    # A new image takes over the pixels and nothing else: not even a comment.
    bare = Image.frombytes("RGB", image.size, image.tobytes())
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=QUALITY, subsampling=0)
    return out.getvalue()


def _upright(path: Path) -> Image.Image:
    with Image.open(path, formats=FORMATS) as image:
        scale = LONGEST_SIDE / max(image.size)
        if scale < 1:
            image.draft("RGB", (round(image.width * scale), round(image.height * scale)))
        image.load()
        upright = ImageOps.exif_transpose(_eight_bit_rgb(image))
    if max(upright.size) > LONGEST_SIDE:
        upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE), Image.Resampling.LANCZOS, reducing_gap=3.0)
    return upright
