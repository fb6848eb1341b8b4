"""Open a photo as upright 8-bit RGB, or say in one sentence why it cannot be used."""

from __future__ import annotations

import os
import warnings
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps, UnidentifiedImageError

from model.errors import PhotoError

# HEIC needs a plug-in; it is a dependency, but a phone-less desk can do without it.
try:
    import pi_heif

    pi_heif.register_heif_opener()
except ImportError:  # pragma: no cover - the plug-in is a dependency of the project
    pi_heif = None

FORMATS = ("JPEG", "PNG", "WEBP", "HEIF")
LARGEST_PIXELS = 100_000_000  # twice the largest sensors in phones; more is a trap, not a photo
LARGEST_BYTES = 60_000_000
SMALLEST_SIDE = 64
WORKING_SIDE = 412  # px: the short side from which all views are cut


@dataclass(frozen=True)
class Photo:
    """One opened photo.

    ``pixels`` is uint8 (height, width, 3), upright, short side WORKING_SIDE. ``usable`` is
    False when there is nothing to recognise in it; ``notes`` say what a person should know.
    """

    file: str
    pixels: NDArray[np.uint8]
    usable: bool = True
    notes: tuple[str, ...] = field(default=())


def open_photo(path: str | os.PathLike[str]) -> Photo:
    """Open, check, turn upright and scale one photo; metadata are left behind.

    JPEGs are decoded at reduced size (Image.draft), which is why training must come through
    here too. Raises PhotoError, in one sentence that names the file.
    """
    file = Path(path)
    if not file.exists():
        raise PhotoError(f"{file}: no such file; check the name")
    if file.is_dir():
        raise PhotoError(f"{file}: is a folder; name the photos in it")
    if file.stat().st_size == 0:
        raise PhotoError(f"{file}: is empty; copy the photo again")
    if file.stat().st_size > LARGEST_BYTES:
        raise PhotoError(f"{file}: is over {LARGEST_BYTES // 1_000_000} MB; export it smaller")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            image = _decode(file)
    except UnidentifiedImageError:
        raise PhotoError(
            f"{file}: is not a photo that can be read (JPEG, PNG, WebP or HEIC); export it as JPEG"
        ) from None
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise PhotoError(f"{file}: has too many pixels to be a photo; export it smaller") from None
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        cause = str(error).split("\n")[0] or type(error).__name__
        raise PhotoError(f"{file}: is damaged ({cause}); copy or take the photo again") from None
    pixels = np.asarray(image, dtype=np.uint8)
    notes, usable = _quality(pixels)
    return Photo(str(file), pixels, usable, notes)


def _decode(file: Path) -> Image.Image:
    with Image.open(file, formats=FORMATS) as image:
        width, height = image.size
        if min(width, height) < SMALLEST_SIDE:
            raise PhotoError(f"{file}: is only {width} x {height} px; at least {SMALLEST_SIDE} are needed")
        if width * height > LARGEST_PIXELS:
            raise PhotoError(f"{file}: has {width} x {height} px, too many for a photo; export it smaller")
        if max(width, height) > 12 * min(width, height):
            raise PhotoError(f"{file}: is a strip of {width} x {height} px; crop it nearer to a square")
        scale = WORKING_SIDE / min(width, height)
        image.draft("RGB", (round(width * scale), round(height * scale)))
        image.load()
        upright = ImageOps.exif_transpose(_eight_bit_rgb(image))
    scale = WORKING_SIDE / min(upright.size)
    size = (max(WORKING_SIDE, round(upright.width * scale)), max(WORKING_SIDE, round(upright.height * scale)))
    return upright.resize(size, Image.Resampling.BILINEAR, reducing_gap=3.0)


def _eight_bit_rgb(image: Image.Image) -> Image.Image:
    """8-bit RGB: sixteen bits are scaled rather than clipped, clear parts become white."""
    exif = image.getexif()
    if image.mode.startswith("I") or image.mode == "F":
        deep = np.asarray(image, dtype=np.float64)
        top = 65535.0 if deep.max() > 255 else 255.0
        image = Image.fromarray(np.clip(deep * (255.0 / top), 0, 255).astype(np.uint8))
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        clear = image.convert("RGBA")
        image = Image.alpha_composite(Image.new("RGBA", clear.size, "white"), clear)
    image = image.convert("RGB")
    # Conversions may drop the orientation; the caller still has to turn the picture.
    image.info["exif"] = exif.tobytes()
    return image


def _quality(pixels: NDArray[np.uint8]) -> tuple[tuple[str, ...], bool]:
    """Notes on what spoils a photo. Thresholds: common practice, no source."""
    grey = pixels.mean(axis=2, dtype=np.float64)
    if grey.std() < 4.0:
        return ("nothing can be made out: almost one colour; take it again",), False
    notes = []
    if grey.mean() < 35:
        notes.append("very dark: take it again in shade or daylight")
    if grey.mean() > 225:
        notes.append("very bright: take it again out of direct sun")
    edges = grey[1:-1, 1:-1] * 4 - grey[:-2, 1:-1] - grey[2:, 1:-1] - grey[1:-1, :-2] - grey[1:-1, 2:]
    if edges.var() < 6.0:
        notes.append("blurred: hold still, tap on the plant, come no closer than the camera can focus")
    return tuple(notes), True
