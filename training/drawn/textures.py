"""Textures cut from real photos, for training only: leaf-green, soil and lawn found by their colours.

Nothing of a photo is ever written down; sample images never use this.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from model.errors import CollectionError
from training.drawn import brush
from training.drawn.chance import noise_dice
from training.manifest import read_manifest

PATCH = 72  # px of a photo whose short side is 412
KEEP = 120  # patches of one kind


@dataclass(frozen=True, eq=False)
class Textures:
    """Patches uint8 (n, PATCH, PATCH, 3) by kind: leaf, soil, lawn. Compared by identity."""

    leaves: Any = field(repr=False)
    soils: Any = field(repr=False)
    lawns: Any = field(repr=False)

    def leaf(self, chance: np.random.Generator, height: int, width: int) -> Any:
        """Tint float32 (height, width, 3) with mean 1 from a patch of leaf."""
        patch = self.leaves[int(chance.integers(len(self.leaves)))].astype(np.float32)
        patch = np.rot90(patch, int(chance.integers(4)))
        tint = patch / np.maximum(brush.soften(np.ascontiguousarray(patch), 14.0), 12.0)
        whole = brush.scaled(np.ascontiguousarray(np.clip(tint, 0.5, 1.8)), width, max(height, 4))
        return whole[:height]

    def ground(self, kind: str, chance: np.random.Generator, size: int) -> Any:
        """A quilt of patches uint8 (size, size, 3) of soil or lawn, seams faded into one another."""
        store = self.lawns if kind == "turf" else self.soils
        total, weight = np.zeros((size, size, 3), np.float32), np.full((size, size, 1), 1e-3, np.float32)
        mask = np.outer(np.hanning(PATCH), np.hanning(PATCH)).astype(np.float32)[..., None] ** 0.7 + 1e-4
        first = store[int(chance.integers(len(store)))].astype(np.float32)
        tone = first.reshape(-1, 3).mean(axis=0)
        for top in range(-PATCH // 2, size, PATCH // 2):
            for left in range(-PATCH // 2, size, PATCH // 2):
                patch = np.rot90(store[int(chance.integers(len(store)))], int(chance.integers(4))).astype(np.float32)
                patch = patch * (tone / np.maximum(patch.reshape(-1, 3).mean(axis=0), 1))
                y0, x0, y1, x1 = max(top, 0), max(left, 0), min(top + PATCH, size), min(left + PATCH, size)
                part = mask[y0 - top : y1 - top, x0 - left : x1 - left]
                total[y0:y1, x0:x1] += part * patch[y0 - top : y1 - top, x0 - left : x1 - left]
                weight[y0:y1, x0:x1] += part
        return np.clip(total / weight, 0, 255).astype(np.uint8)


def cut_textures(folder: Path, seed: int = 1, photos: int = 500, avoid: frozenset[Path] = frozenset()) -> Textures:
    """Find patches in the photos of a folder with a manifest.

    ``photos``: how many large enough ones to look into. ``avoid``: files that must not be
    used, those of held-out parts. Raises CollectionError when there are too few patches.
    """
    files = [photo.file for photo in read_manifest(folder) if photo.file not in avoid]
    chance = noise_dice(seed, "textures")
    found: dict[str, list[Any]] = {"leaf": [], "soil": [], "lawn": []}
    looked = 0
    for index in chance.permutation(len(files)):
        looked += _search(files[int(index)], chance, found)
        if looked >= photos:
            break
    for kind, patches in found.items():
        if len(patches) < 8:
            raise CollectionError(
                f"{folder}: only {len(patches)} patches of {kind} found; name a folder with more photos"
            )
    leaves, soils, lawns = (np.stack(found[kind][:KEEP]) for kind in ("leaf", "soil", "lawn"))
    return Textures(leaves, soils, lawns)


def _search(file: Path, chance: np.random.Generator, found: dict[str, list[Any]]) -> bool:
    """Keep what some places of a photo show; False when it is unreadable or too small."""
    try:
        with Image.open(file) as image:
            if min(image.size) < 200:
                return False
            image.draft("RGB", (412, 412))
            photo = np.asarray(image.convert("RGB"))
    except OSError:
        return False
    short = min(photo.shape[:2])
    if short < 200:
        return False
    height, width = round(photo.shape[0] * 412 / short), round(photo.shape[1] * 412 / short)
    photo = brush.scaled(photo, width, height)
    for _ in range(12):
        y, x = int(chance.integers(height - PATCH)), int(chance.integers(width - PATCH))
        kind = _kind(photo[y : y + PATCH, x : x + PATCH].astype(np.float32))
        if kind and len(found[kind]) < KEEP:
            found[kind].append(photo[y : y + PATCH, x : x + PATCH].copy())
    return True


def _kind(patch: Any) -> str | None:
    """What a patch shows, by its colours: leaves are even and green, lawns busy and green."""
    red, green, blue = (patch[..., i] for i in range(3))
    light = patch.mean(axis=2)
    busy = float(np.abs(np.diff(light, axis=0)).mean())
    is_green = float(((green > red * 1.04) & (green > blue * 1.12)).mean())
    if not 45 < light.mean() < 205 or busy < 2.0:
        return None
    if is_green > 0.93 and busy < 7 and light.std() < 28:
        return "leaf"
    if is_green > 0.66 and busy > 9:
        return "lawn"
    is_earth = float(((red >= green * 0.98) & (green >= blue * 0.95) & (np.abs(red - blue) < 90)).mean())
    return "soil" if is_earth > 0.9 and busy > 4 and is_green < 0.08 else None
