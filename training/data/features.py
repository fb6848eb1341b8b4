"""Features of many photos, computed once and kept in a cache."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from safetensors import SafetensorError
from safetensors.numpy import load_file, save_file

from model.errors import PhotoError
from model.photo.extract import RECIPE, Extractor
from model.photo.sandbox import open_photo
from model.photo.views import views
from model.photo.weights import FEATURES
from model.storage import beside
from training.data.manifest import LabelledPhoto

Array = NDArray[np.float64]
SAVE_EVERY = 500  # photos: what an interruption may cost


def features_of(
    photos: Sequence[LabelledPhoto],
    cache: Path | None = None,
    progress: Callable[[int, int], None] = lambda done, of: None,
    extractor: Extractor | None = None,
) -> tuple[Array, list[str]]:
    """Features float (photos, 1280), and one note a photo that could not be read ("" if it could).

    Rows of unreadable photos are NaN. ``cache`` is a safetensors file, read and added to;
    photos are known in it by their content. ``extractor`` is the starter's network where none
    is given; one of several parts gives 1280 features each.
    """
    known = _kept(cache) if cache is not None else {}
    names = [part.name for part in extractor.parts] if extractor is not None else [RECIPE]
    rows, notes, fresh = np.full((len(photos), FEATURES * len(names)), np.nan), [""] * len(photos), 0
    try:
        for i, photo in enumerate(photos):
            try:
                digest = photo.sha256
                missing = [k for k, name in enumerate(names) if f"{name}-{digest}" not in known]
                if missing:
                    extractor = extractor or Extractor()
                    cut = views(open_photo(photo.file).pixels)
                    for k in missing:
                        found = extractor.parts[k].features_of_views(cut)
                        known[f"{names[k]}-{digest}"] = found.astype(np.float32)
                    fresh += 1
                rows[i] = np.concatenate([known[f"{name}-{digest}"] for name in names])
            except (PhotoError, OSError) as error:
                notes[i] = str(error)
            if cache is not None and fresh and fresh % SAVE_EVERY == 0:
                _save(cache, known)
                fresh = 0
            progress(i + 1, len(photos))
    finally:  # what was computed is kept, also where a person stops it
        if cache is not None and fresh:
            _save(cache, known)
    return rows, notes


def _kept(cache: Path) -> dict[str, NDArray[np.float32]]:
    """What is in the cache. A damaged one counts as none: its features are computed again."""
    try:
        found = load_file(cache)
    except (OSError, SafetensorError):
        return {}
    return {name: row for name, row in found.items() if row.shape == (FEATURES,) and row.dtype == np.float32}


def _save(cache: Path, known: dict[str, NDArray[np.float32]]) -> None:
    """Write the cache, with what another program has added meanwhile; where the disk refuses, nothing is written."""
    with suppress(OSError, SafetensorError):
        cache.parent.mkdir(parents=True, exist_ok=True)
        with beside(cache) as unfinished:
            save_file(_kept(cache) | known, unfinished)
            with unfinished.open("rb+") as file:
                os.fsync(file.fileno())
