"""Open a photo as upright 8-bit RGB, or say in one sentence why it cannot be used.

Pure functions from a file to pixels. Programs call them through model/photo/sandbox.py, which
runs them in a process of its own.
"""

from __future__ import annotations

import importlib
import io
import os
import stat
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps, UnidentifiedImageError

from model.errors import PhotoError

# HEIC needs a plug-in, which is a dependency; other formats work without it.
try:
    import pi_heif

    pi_heif.register_heif_opener()
except ImportError:  # pragma: no cover - the plug-in is a dependency of the project
    pi_heif = None

# Named here so that PIL does not search through its plug-ins for all other formats.
for _plug_in in ("JpegImagePlugin", "PngImagePlugin", "WebPImagePlugin"):
    importlib.import_module(f"PIL.{_plug_in}")

Pixels = NDArray[np.uint8]
FORMATS = ("JPEG", "PNG", "WEBP", "HEIF")
LARGEST_PIXELS = 8192 * 6144  # the largest frame of what is sold as 50 megapixels
LARGEST_BYTES = 25_000_000
SMALLEST_SIDE = 64
STRIP = 12  # times as long as wide: more is not a photo
WORKING_SIDE = 412  # px: the short side from which all views are cut
_BAND = 1_000_000  # values that are turned from sixteen to eight bits at once
# Numbers of the EXIF standard.
_EXIF, _TAKEN, _MAKE, _MODEL = 0x8769, 0x9003, 0x010F, 0x0110


@dataclass(frozen=True)
class Photo:
    """One opened photo.

    ``pixels`` is uint8 (height, width, 3), upright, short side WORKING_SIDE. ``usable`` is
    False when there is nothing to recognise in it; ``notes`` say what a person should know.
    ``size`` is the width and height of the file's picture in px, before it was turned.
    """

    file: str
    pixels: Pixels
    usable: bool = True
    notes: tuple[str, ...] = field(default=())
    size: tuple[int, int] = (0, 0)


def open_photo(path: str | os.PathLike[str]) -> Photo:
    """Open, check, turn upright and scale one photo; metadata are stripped.

    JPEGs are decoded at reduced size (Image.draft), which is why training must come through
    here too. Raises PhotoError, in one sentence that names the file.
    """
    with _picture(path) as image:
        size = image.size
        scale = WORKING_SIDE / min(size)
        image.draft("RGB", (round(size[0] * scale), round(size[1] * scale)))
        upright = _upright(image)
        scale = WORKING_SIDE / min(upright.size)
        target = (max(WORKING_SIDE, round(upright.width * scale)), max(WORKING_SIDE, round(upright.height * scale)))
        pixels = np.asarray(upright.resize(target, Image.Resampling.BILINEAR, reducing_gap=3.0), dtype=np.uint8)
    notes, usable = _quality(pixels)
    return Photo(named(path), pixels, usable, notes, size)


def open_whole(path: str | os.PathLike[str], longest_side: int) -> Pixels:
    """The upright pixels of a photo whose longest side is at most ``longest_side`` px, uint8 (height, width, 3).

    Raises PhotoError as open_photo does, and for a photo in which nothing can be made out.
    """
    photo = open_photo(path)
    if not photo.usable:
        raise PhotoError(f"{photo.file}: {photo.notes[0]}")
    with _picture(path) as image:
        scale = longest_side / max(image.size)
        if scale < 1:
            image.draft("RGB", (round(image.width * scale), round(image.height * scale)))
        upright = _upright(image)
        if max(upright.size) > longest_side:
            upright.thumbnail((longest_side, longest_side), Image.Resampling.LANCZOS, reducing_gap=3.0)
        return np.asarray(upright, dtype=np.uint8)


def time_and_camera(path: str | os.PathLike[str]) -> tuple[str, str]:
    """The EXIF time of a photo and the make and model of its camera, each "" where it is not given.

    The pixels are not decoded. Raises PhotoError where the file is not a photo.
    """
    file = _checked(Path(path), None)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(file, formats=FORMATS) as image:
                exif = image.getexif()
                taken = exif.get_ifd(_EXIF).get(_TAKEN)
                camera = " ".join(str(exif.get(tag, "")).strip("\0 ") for tag in (_MAKE, _MODEL)).strip()
                return str(taken or ""), camera
    except (UnidentifiedImageError, Image.DecompressionBombError) as error:
        raise _refusal(path, error) from None
    except Exception:  # damaged metadata raise whatever they like, and then give nothing
        return "", ""


def named(path: str | os.PathLike[str]) -> str:
    """A file's name as it can be printed on one line."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in os.fspath(path))


@contextmanager
def _picture(path: str | os.PathLike[str]) -> Iterator[Image.Image]:
    """The picture in a file, its outside checked and nothing decoded; what goes wrong inside is one sentence."""
    file = _checked(Path(path), LARGEST_BYTES)
    try:
        data = file.read_bytes()
    except OSError as error:
        raise PhotoError(
            f"{named(path)}: cannot be read ({error.strerror}); check the disk and its permissions"
        ) from None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of damaged metadata, which are stripped
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(data), formats=FORMATS) as image:
                _check_shape(named(path), *image.size)
                yield image
    except PhotoError:
        raise
    except Exception as error:  # decoders raise whatever they like on damaged files
        raise _refusal(path, error) from None


def _checked(file: Path, largest: int | None) -> Path:
    """The file, if it can be one photo from its outside."""
    name = named(file)
    try:
        state = file.stat()
    except FileNotFoundError:
        raise PhotoError(f"{name}: no such file; check the name") from None
    except (OSError, ValueError) as error:
        cause = getattr(error, "strerror", None) or error
        raise PhotoError(f"{name}: cannot be read ({cause}); check the name") from None
    if stat.S_ISDIR(state.st_mode):
        raise PhotoError(f"{name}: is a folder; name the photos in it")
    if not stat.S_ISREG(state.st_mode):
        raise PhotoError(f"{name}: is not an ordinary file; name a photo")
    if state.st_size == 0:
        raise PhotoError(f"{name}: is empty; copy the photo again")
    if largest is not None and state.st_size > largest:
        raise PhotoError(f"{name}: is over {largest // 1_000_000} MB; export it smaller")
    return file


def _check_shape(name: str, width: int, height: int) -> None:
    if min(width, height) < SMALLEST_SIDE:
        raise PhotoError(f"{name}: is only {width} x {height} px; at least {SMALLEST_SIDE} are needed")
    if width * height > LARGEST_PIXELS:
        raise PhotoError(f"{name}: has {width} x {height} px, too many for a photo; export it smaller")
    if max(width, height) > STRIP * min(width, height):
        raise PhotoError(f"{name}: is a strip of {width} x {height} px; crop it nearer to a square")


def _refusal(path: str | os.PathLike[str], error: Exception) -> PhotoError:
    """What a decoder's error means to a person."""
    name = named(path)
    if isinstance(error, UnidentifiedImageError):
        return PhotoError(f"{name}: is not a photo that can be read (JPEG, PNG, WebP or HEIC); export it as JPEG")
    if isinstance(error, (Image.DecompressionBombError, Image.DecompressionBombWarning)):
        return PhotoError(f"{name}: has too many pixels to be a photo; export it smaller")
    if isinstance(error, MemoryError):
        return PhotoError(f"{name}: needs too much memory to open; export it smaller")
    cause = named(str(error).split("\n")[0])[:120] or type(error).__name__
    return PhotoError(f"{name}: is damaged ({cause}); copy or take the photo again")


def _upright(image: Image.Image) -> Image.Image:
    """Decode, to 8-bit RGB, turned as the photo was held."""
    image.load()
    with suppress(Exception):  # damaged metadata raise whatever they like, and spoil no picture
        ImageOps.exif_transpose(image, in_place=True)
    return _eight_bit_rgb(image)


def _eight_bit_rgb(image: Image.Image) -> Image.Image:
    """8-bit RGB: sixteen bits are scaled rather than clipped, clear parts become white."""
    if image.mode.startswith("I") or image.mode == "F":
        image = Image.fromarray(_eight_bits(np.asarray(image), image.info.get("transparency")))
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        clear = image.convert("RGBA")
        image = Image.alpha_composite(Image.new("RGBA", clear.size, "white"), clear)
    return image.convert("RGB")


def _eight_bits(deep: NDArray[np.generic], clear: object) -> Pixels:
    """Grey values of more than eight bits scaled to eight; those that mean ``clear`` become white."""
    top = 65535.0 if int(deep.max()) > 255 else 255.0
    flat = np.empty(deep.shape, np.uint8)
    rows = max(1, _BAND // deep.shape[1])  # in bands, so that a large picture needs little memory
    for start in range(0, len(deep), rows):
        band = deep[start : start + rows].astype(np.float64)
        flat[start : start + rows] = np.clip(band * (255.0 / top), 0, 255).astype(np.uint8)
    if isinstance(clear, int):
        flat[deep == clear] = 255
    return flat


def _quality(pixels: Pixels) -> tuple[tuple[str, ...], bool]:
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
