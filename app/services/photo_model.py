"""From files of photos to evidence, by the active photo model."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from app.services.home import registry
from model.photo.sandbox import open_photo

if TYPE_CHECKING:
    from model.photo.evidence import Evidence
    from model.photo.model import PhotoModel


@lru_cache(maxsize=2)
def _loaded(folder: Path) -> PhotoModel:
    from model.photo.model import load_model

    return load_model(folder)


@lru_cache(maxsize=8)
def _warn_once(note: str) -> None:
    logging.getLogger("swardkey").warning("swardkey: %s", note)


def active_photo_model() -> PhotoModel:
    """The active photo model; loaded once, and anew when another is activated. A damaged one is warned of once."""
    model, found = registry().load(_loaded)
    if found.note:
        _warn_once(found.note)
    return model


def evidence_of(files: Sequence[Path]) -> Evidence:
    """The evidence of photos of one plant. Raises PhotoError naming the file that cannot be read."""
    with ThreadPoolExecutor(1) as beside:  # photos are opened in the time that the model takes to load
        opening = beside.submit(lambda: [open_photo(file) for file in files])
        model = active_photo_model()
        return model.look(opening.result())
