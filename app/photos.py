"""From files of photos to evidence, with the model that is in charge."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

from app.home import home
from model.photo import Evidence, PhotoModel, load_model, open_photo
from training.registry import Registry


@lru_cache(maxsize=2)
def _loaded(folder: Path) -> PhotoModel:
    return load_model(folder)


@lru_cache(maxsize=8)
def _say_once(note: str) -> None:
    sys.stderr.write(f"swardkey: {note}\n")


def model_in_charge() -> PhotoModel:
    """The photo model in charge; loaded once, and anew when another is put in charge."""
    model, found = Registry(home() / "models").load(_loaded)
    if found.note:
        _say_once(found.note)
    return model


def evidence_of(files: Sequence[Path]) -> Evidence:
    """Look at photos of one plant. Raises PhotoError naming the file that cannot be read."""
    photos = [open_photo(file) for file in files]
    return model_in_charge().look(photos)
