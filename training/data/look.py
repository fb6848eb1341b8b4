"""One look at a photo file: can it be read, how sharp it is, and what distinguishes it."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy.fft import dctn

from model.errors import PhotoError
from model.photo import open_photo
from training.data.manifest import LabelledPhoto

SMALL = 40  # px, shorter side of the grey picture that is kept to compare parts with
HASH_SIDE = 32  # px, side of the square that the hash is made from; its 8 x 8 coarsest waves are used


def _nothing() -> NDArray[np.uint8]:
    return np.zeros((0, 0), np.uint8)


@dataclass(frozen=True)
class Look:
    """What is known of one file after one look.

    ``cause`` says why it cannot be read, "" where it can; everything after ``sha256`` means
    something only then. ``side`` is the shorter side of the file in px; ``sharpness`` the
    variance of the Laplacian (0 and up, higher is sharper), ``brightness`` 0-255; ``plain`` is
    True where the photo is almost one colour; ``print`` the 63-bit perceptual hash; ``small``
    uint8 (height, width), grey, shorter side SMALL.
    """

    cause: str
    sha256: str = ""
    side: int = 0
    sharpness: float = 0.0
    brightness: float = 0.0
    plain: bool = False
    print: int = 0
    small: NDArray[np.uint8] = field(default_factory=_nothing, repr=False, compare=False)


def look_at(
    photos: Sequence[LabelledPhoto], blur_side: int, progress: Callable[[int], None] = lambda done: None
) -> list[Look]:
    """Look at each photo, in order. ``blur_side``: px of the shorter side at which sharpness is taken."""
    looks = []
    for number, photo in enumerate(photos, start=1):
        looks.append(_look(photo, blur_side))
        progress(number)
    return looks


def _look(photo: LabelledPhoto, blur_side: int) -> Look:
    try:
        opened = open_photo(photo.file)
        sha256 = hashlib.sha256(photo.file.read_bytes()).hexdigest()
    except PhotoError as error:
        # The person knows the photo by its name in the collection, not by where it lies.
        return Look(str(error).removeprefix(f"{photo.file}: "))
    except OSError as error:
        return Look(f"cannot be read ({error.strerror or error}); copy the photo again")
    grey = Image.fromarray(opened.pixels).convert("L")
    return Look(
        cause="",
        sha256=sha256,
        side=min(opened.size),
        sharpness=sharpness(scaled(grey, blur_side)),
        brightness=float(np.asarray(grey).mean()),
        plain=not opened.usable,
        print=perceptual_hash(grey),
        small=scaled(grey, SMALL),
    )


def scaled(grey: Image.Image, side: int) -> NDArray[np.uint8]:
    """A grey photo with its shorter side scaled to ``side`` px, uint8 (height, width)."""
    scale = side / min(grey.size)
    size = (round(grey.width * scale), round(grey.height * scale))
    return np.asarray(grey.resize(size, Image.Resampling.BOX), dtype=np.uint8)


def sharpness(pixels: NDArray[np.uint8]) -> float:
    """Variance of the Laplacian: 0 for one colour, low where blurred, higher is sharper.

    >>> sharpness(np.full((9, 9), 120, np.uint8))
    0.0
    """
    g = pixels.astype(np.float64)
    edges = g[1:-1, 1:-1] * 4 - g[:-2, 1:-1] - g[2:, 1:-1] - g[1:-1, :-2] - g[1:-1, 2:]
    return float(edges.var())


def perceptual_hash(grey: Image.Image) -> int:
    """63 bits: whether each of the coarsest waves of the picture is above their median.

    The cosine transform of a small square, without the mean: near the same for a copy that
    was scaled, saved again or made brighter.
    """
    square = np.asarray(grey.resize((HASH_SIDE, HASH_SIDE), Image.Resampling.LANCZOS), dtype=np.float64)
    waves = dctn(square, norm="ortho")[:8, :8].ravel()[1:]
    bits = waves > np.median(waves)
    return int("".join("1" if b else "0" for b in bits), 2)
