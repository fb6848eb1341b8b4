"""From files of photos to evidence, with the model that is in charge."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from app.services.home import registry
from model.photo.sandbox import open_photo

if TYPE_CHECKING:
    from model.photo import Evidence, Photo, PhotoModel


@lru_cache(maxsize=2)
def _loaded(folder: Path) -> PhotoModel:
    from model.photo import load_model

    return load_model(folder)


@lru_cache(maxsize=8)
def _say_once(note: str) -> None:
    sys.stderr.write(f"swardkey: {note}\n")


def model_in_charge() -> PhotoModel:
    """The photo model in charge; loaded once, and anew when another is put in charge."""
    model, found = registry().load(_loaded)
    if found.note:
        _say_once(found.note)
    return model


def opened_and_evidence(files: Sequence[Path]) -> tuple[list[Photo], Evidence]:
    """Photos of one plant as they were opened, each once, and what they say.

    Raises PhotoError naming the file that cannot be read.
    """
    with ThreadPoolExecutor(1) as beside:  # a photo is opened in the time that the model takes to load
        opening = beside.submit(lambda: [open_photo(file) for file in files])
        model = model_in_charge()
        photos = opening.result()
    return photos, model.look(photos)


def evidence_of(files: Sequence[Path]) -> Evidence:
    """What photos of one plant say. Raises PhotoError naming the file that cannot be read."""
    return opened_and_evidence(files)[1]
