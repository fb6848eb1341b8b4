"""Features of many photos, computed once and kept in a cache."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from safetensors.numpy import load_file, save_file

from model.errors import PhotoError
from model.photo import Extractor, open_photo
from model.photo.backbone import FEATURES
from model.photo.extract import RECIPE
from training.manifest import LabelledPhoto

Array = NDArray[np.float64]
SAVE_EVERY = 500  # photos: what an interruption may cost


def features_of(
    photos: Sequence[LabelledPhoto],
    cache: Path | None = None,
    progress: Callable[[int, int], None] = lambda done, of: None,
) -> tuple[Array, list[str]]:
    """Features float (photos, 1280), and one note a photo that could not be read ("" if it could).

    Rows of unreadable photos are NaN. ``cache`` is a safetensors file, read and added to;
    photos are known in it by their content.
    """
    known = load_file(cache) if cache is not None and cache.exists() else {}
    extractor: Extractor | None = None
    rows, notes, fresh = np.full((len(photos), FEATURES), np.nan), [""] * len(photos), 0
    for i, photo in enumerate(photos):
        try:
            name = f"{RECIPE}-{hashlib.sha256(photo.file.read_bytes()).hexdigest()}"
            if name not in known:
                extractor = extractor or Extractor()
                known[name] = extractor.features(open_photo(photo.file)).astype(np.float32)
                fresh += 1
            rows[i] = known[name]
        except (PhotoError, OSError) as error:
            notes[i] = str(error)
        if cache is not None and fresh and fresh % SAVE_EVERY == 0:
            _save(cache, known)
            fresh = 0
        progress(i + 1, len(photos))
    if cache is not None and fresh:
        _save(cache, known)
    return rows, notes


def _save(cache: Path, known: dict[str, NDArray[np.float32]]) -> None:
    cache.parent.mkdir(parents=True, exist_ok=True)
    temporary = cache.with_name(cache.name + ".new")
    save_file(known, temporary)
    temporary.replace(cache)
