"""From files of photos to evidence, with the model that is in charge."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

from model.photo import Evidence, PhotoModel, load_model, open_photo


@lru_cache(maxsize=1)
def model_in_charge() -> PhotoModel:
    """The photo model, loaded once a process."""
    return load_model()


def evidence_of(files: Sequence[Path]) -> Evidence:
    """Look at photos of one plant. Raises PhotoError naming the file that cannot be read."""
    photos = [open_photo(file) for file in files]
    return model_in_charge().look(photos)
