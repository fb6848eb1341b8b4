"""Prepare photos for training: those that can be read, of classes with enough of them, split into four parts."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from model.errors import CollectionError
from training.audit.settings import load_settings
from training.audit.shortage import find_shortages
from training.data.dataset import Data
from training.data.duplicates import Cluster, find_duplicates, merged_groups, without_copies
from training.data.features import features_of
from training.data.look import LOOKS, look_at
from training.data.manifest import LabelledPhoto
from training.data.split import every_class_in_fit, split
from training.recipes.recipe import Recipe


@dataclass(frozen=True)
class Prepared:
    """Photos with features and parts; files left out, and classes with too few photos, each with the reason.

    ``clusters``: photos that are one picture.
    """

    data: Data
    left_out: Mapping[str, str]
    not_yet: Mapping[str, str] = field(default_factory=dict)
    clusters: Sequence[Cluster] = ()


def read_photos(
    photos: Sequence[LabelledPhoto], recipe: Recipe, cache: Path | None, progress: Callable[[int, int], None]
) -> Prepared:
    """Features and parts of all photos that can be read."""
    x, notes = features_of(photos, cache, progress)
    readable = np.array([not note for note in notes], dtype=bool)
    data = Data(x, tuple(photos), np.array(split(photos, recipe.shares, recipe.seed), dtype=str)).where(readable)
    return Prepared(data, {photo.name: note for photo, note in zip(photos, notes, strict=True) if note})


def prepare(
    photos: Sequence[LabelledPhoto], recipe: Recipe, cache: Path, progress: Callable[[int, int], None]
) -> Prepared:
    """The photos that can be used. Copies of one picture are put into one group first, so that no split divides them.

    Raises CollectionError where nothing is left.
    """
    read = read_photos(photos, recipe, cache, progress)
    kept, settings, clusters = read.data.photos, load_settings(), tuple[Cluster, ...]()
    if kept:
        looks = look_at(kept, settings.quality.blur_side, cache=cache.with_name(LOOKS))
        clusters = find_duplicates(kept, looks, read.data.x, settings.duplicates).clusters
        groups = merged_groups(kept, clusters)
        kept = tuple(replace(photo, group=group) for photo, group in zip(kept, groups, strict=True))
    once = [kept[row] for row in without_copies(kept, clusters)]  # as in the check: copies count as one photo
    short = find_shortages([photo.label for photo in once], [photo.group for photo in once], settings.enough)
    not_yet = {shortage.species: shortage.missing for shortage in short}
    use = np.array([photo.label not in not_yet for photo in kept], dtype=bool)
    if not use.any():
        needs = "; ".join(f"{label}: {missing}" for label, missing in not_yet.items())
        raise CollectionError(
            f"nothing can be learned yet: {needs or 'the collection is empty'}; add photos and try again"
        )
    data = replace(read.data, photos=kept).where(use)
    parts = every_class_in_fit(data.photos, split(data.photos, recipe.shares, recipe.seed))
    return Prepared(replace(data, parts=np.array(parts)), read.left_out, not_yet, clusters)
