"""Gather what can be learned from: photos that can be read, of species with enough of them, dealt to four parts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from model.errors import CollectionError
from training.audit.duplicates import find_duplicates, merged_groups
from training.audit.look import look_at
from training.audit.settings import load_settings
from training.audit.shortage import find_shortages
from training.data.dataset import Data
from training.data.features import features_of
from training.data.manifest import LabelledPhoto
from training.data.split import split
from training.head.fit import deal
from training.recipes.recipe import Recipe

Progress = Callable[[int], None]


def gather(
    photos: Sequence[LabelledPhoto], recipe: Recipe, cache: Path, progress: Progress
) -> tuple[Data, dict[str, str], dict[str, str]]:
    """Features and parts of the photos that can be used; files left out, and species with too few, each with why.

    Copies of one picture are made one group first, so that no split parts them. Raises
    CollectionError where nothing is left.
    """
    x, notes = features_of(photos, cache, lambda done, of: progress(done))
    left_out = {photo.name: note for photo, note in zip(photos, notes, strict=True) if note}
    rows = [i for i, note in enumerate(notes) if not note]
    kept = [photos[i] for i in rows]
    settings = load_settings()
    looks = look_at(kept, settings.quality.blur_side)
    groups = merged_groups(kept, find_duplicates(kept, looks, x[rows], settings.duplicates).clusters) if kept else []
    kept = [replace(photo, group=group) for photo, group in zip(kept, groups, strict=True)]
    short = find_shortages([photo.label for photo in kept], [photo.group for photo in kept], settings.enough)
    not_yet = {shortage.species: shortage.missing for shortage in short}
    use = [i for i, photo in enumerate(kept) if photo.label not in not_yet]
    if not use:
        told = "; ".join(f"{label}: {missing}" for label, missing in not_yet.items())
        raise CollectionError(
            f"nothing can be learned yet: {told or 'the collection is empty'}; add photos and try again"
        )
    chosen = [kept[i] for i in use]
    parts = deal(chosen, split(chosen, recipe.shares, recipe.seed))
    return Data(x[rows][use], tuple(chosen), np.array(parts)), left_out, not_yet
