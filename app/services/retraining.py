"""A better photo model from the user's own labelled photos, active only once it has proved itself."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from app.services.collection import labelled_photos, open_all
from app.services.home import features_file, registry
from model.errors import CollectionError
from training.recipes.recipe import recipe_names, recipes_said

if TYPE_CHECKING:
    from training.data.manifest import LabelledPhoto
    from training.gate import Override
    from training.recipes.candidate import Progress
    from training.recipes.train import Outcome


def recipes_in_words() -> str:
    """Every recipe and what it does, for the help."""
    return recipes_said()


def photos_to_learn(folder: Path | None, recipe: str = "quick") -> list[LabelledPhoto]:
    """The photos of a collection. Raises CollectionError where it holds none, ModelError where torch is missing."""
    if recipe not in recipe_names():
        raise CollectionError(f"--recipe {recipe}: there is no such recipe; choose {' or '.join(recipe_names())}")
    if recipe == "full":
        from training.finetune.torch_install import need_torch  # only here, since torch takes seconds

        need_torch("train --recipe full")
    return labelled_photos(open_all(folder)[0])


def train_on(
    photos: list[LabelledPhoto], recipe: str, override: Override | None, progress: Progress = lambda *step: None
) -> Outcome:
    """Learn by a recipe, and activate the result if the gate allows it. ``progress``: stage, done, of how much."""
    from training.recipes.train import train

    return train(recipe, photos, registry(), features_file(), override, progress)
