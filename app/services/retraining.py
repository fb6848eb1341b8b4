"""A better photo model from the user's own labelled photos, active only once it has proved itself."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING

from app.services.collection import labelled_photos, open_all
from app.services.home import features_file, registry
from model.errors import CollectionError
from training.gate import Override, load_rules
from training.recipes.quick import train_quick
from training.recipes.recipe import load_full_recipe, load_recipe

if TYPE_CHECKING:
    from training.data.manifest import LabelledPhoto
    from training.recipes.decide import Outcome

Watch = Callable[[str, int, int], None]  # the stage of the work, and how much of how much is done


def override_of(by: str, because: str) -> Override | None:
    """Who activates the model where the photos cannot tell, and why. Raises CollectionError for half of it."""
    if bool(by) != bool(because):
        raise CollectionError("an override needs both --by and --because; give the two or neither")
    return Override(by, because) if by else None


def photos_to_learn(folder: Path | None, full: bool) -> list[LabelledPhoto]:
    """The photos of a collection. Raises CollectionError where it holds none, ModelError where ``full`` cannot run."""
    if full:
        from training.finetune.torch_install import need_torch  # here and below, since torch takes seconds

        need_torch("train --recipe full")
    return labelled_photos(open_all(folder)[0])


def train_by_quick(photos: list[LabelledPhoto], override: Override | None, watch: Callable[[int], None]) -> Outcome:
    """Features once, then a closed-form head; ``watch`` is given how many photos are done."""
    return train_quick(photos, registry(), load_recipe("quick"), load_rules(), features_file(), override, watch)


def train_by_full(
    photos: list[LabelledPhoto], override: Override | None, watching: Callable[[bool], AbstractContextManager[Watch]]
) -> Outcome | None:
    """Fine-tune a network as well. ``watching`` opens the display of progress, silent if it is given True.

    None in all but the first of several processes.
    """
    from training.finetune.processes import join_world
    from training.recipes.full import train_full

    recipe = load_full_recipe()
    with join_world() as world, watching(not world.first) as watch:
        return train_full(photos, registry(), recipe, load_rules(), features_file(), override, watch, world)
