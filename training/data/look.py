"""One look at a photo file: can it be read, how sharp it is, and what distinguishes it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from safetensors import SafetensorError, safe_open
from safetensors.numpy import save_file
from scipy.fft import dctn

from model.errors import PhotoError
from model.photo.sandbox import open_photo
from model.storage import beside
from training.data.manifest import LabelledPhoto

SMALL = 40  # px, shorter side of the grey picture that is kept to compare parts with
LOOKS = "looks.safetensors"  # beside the features that are kept
VERSION = 1  # of what is kept of a look
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
    photos: Sequence[LabelledPhoto],
    blur_side: int,
    progress: Callable[[int], None] = lambda done: None,
    cache: Path | None = None,
) -> list[Look]:
    """Look at each photo, in order. ``blur_side``: px of the shorter side at which sharpness is taken.

    ``cache`` is a file of looks, read and added to; photos are known in it by their content.
    """
    kept = _kept(cache, blur_side) if cache is not None else {}
    looks, before = [], len(kept)
    try:
        for number, photo in enumerate(photos, start=1):
            look = kept.get(_digest(photo)) if kept else None
            looks.append(look or _look(photo, blur_side))
            if cache is not None and not looks[-1].cause:
                kept[looks[-1].sha256] = looks[-1]
            progress(number)
    finally:  # what was looked at is kept, also where a person stops it
        if cache is not None and len(kept) > before:
            _save(cache, kept, blur_side)
    return looks


def _digest(photo: LabelledPhoto) -> str:
    """By which a photo is known; "" where it cannot be read."""
    try:
        return photo.sha256
    except OSError:
        return ""


def _kept(cache: Path, blur_side: int) -> dict[str, Look]:
    """What is in the cache of such looks. A damaged one counts as none: its photos are looked at again."""
    try:
        with safe_open(cache, "np") as file:
            told = {sha: json.loads(text) for sha, text in (file.metadata() or {}).items()}
            return {
                sha: Look("", sha, side, sharp, bright, plain, bits, file.get_tensor(sha))
                for sha, (kind, side, sharp, bright, plain, bits) in told.items()
                if kind == [VERSION, blur_side]
            }
    except (OSError, SafetensorError, ValueError, TypeError):
        return {}


def _save(cache: Path, kept: dict[str, Look], blur_side: int) -> None:
    """Write the cache, with what another program has added meanwhile; where the disk refuses, nothing is written."""
    kept = _kept(cache, blur_side) | kept
    told = {
        sha: json.dumps([[VERSION, blur_side], k.side, k.sharpness, k.brightness, k.plain, k.print])
        for sha, k in kept.items()
    }
    with suppress(OSError, SafetensorError):
        cache.parent.mkdir(parents=True, exist_ok=True)
        with beside(cache) as unfinished:
            save_file({sha: np.ascontiguousarray(k.small) for sha, k in kept.items()}, unfinished, told)


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
