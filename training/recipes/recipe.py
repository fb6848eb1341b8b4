"""Training recipes: the settings of each from configs/recipes, checked, and the module that makes its model.

A recipe NAME is the file configs/recipes/NAME.yaml and the module training/recipes/NAME.py, which has ``Settings``,
the class that checks the file, and ``make``, which makes a Candidate of a Training. Nothing else lists the recipes.
"""

from __future__ import annotations

import importlib
import pkgutil
from pathlib import Path
from types import ModuleType
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, model_validator

import training.recipes
from model.errors import CollectionError, FloraError
from model.flora.load import CONFIGS, read_as
from training.adapt.trial import Trial
from training.data.split import PARTS
from training.finetune.tune_settings import Tune

FOLDER = CONFIGS / "recipes"
Share = Annotated[float, Field(gt=0, lt=1)]


class Recipe(BaseModel):
    """What every recipe needs; see the comments in quick.yaml for each value."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    shares: dict[str, Share]
    seed: int
    shrinkage: Annotated[list[Share], Field(min_length=1)]
    folds: Annotated[int, Field(ge=2, le=20)]
    least_floor: Share
    base_weights: Annotated[list[Annotated[float, Field(gt=0, le=1)]], Field(min_length=1)]
    least_calibration_photos: Annotated[int, Field(ge=2)]
    null_draws: Annotated[int, Field(ge=20)]

    @model_validator(mode="after")
    def _shares_are_whole(self) -> Recipe:
        if tuple(self.shares) != PARTS or abs(sum(self.shares.values()) - 1) > 1e-9:
            raise ValueError(f"shares must be {', '.join(PARTS)}, in this order, and sum to 1")
        return self


class FullRecipe(Recipe):
    """The full recipe: the same, and how the network is fine-tuned."""

    tune: Tune
    tuned_shrinkage: Annotated[list[Share], Field(min_length=1)]


class Judged(BaseModel):
    """How the features of an adapted network are judged; see the comments in the recipe."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    photos: Annotated[int, Field(ge=10)]
    fit_photos: Annotated[int, Field(ge=5)]
    sides: Annotated[list[Annotated[int, Field(ge=64, le=512)]], Field(min_length=1)]
    parts: Annotated[int, Field(ge=1, le=6)]
    shots: Annotated[list[Annotated[int, Field(ge=1)]], Field(min_length=1)]
    draws: Annotated[int, Field(ge=1)]
    shrinkage: Share


class Packed(BaseModel):
    """How pictures are packed; see the comments in the recipe."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    short_side: Annotated[int, Field(ge=64, le=412)]
    quality: Annotated[int, Field(ge=20, le=95)]
    drawings: Annotated[int, Field(ge=0, le=30)]
    drawn_side: Annotated[int, Field(ge=64, le=412)]
    things: Annotated[int, Field(ge=0)]


class Shipped(BaseModel):
    """The trial that learns all classes, and how much of the way from ImageNet's weights to its own is gone."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    trial: str
    blend: Annotated[float, Field(gt=0, le=1)]


class StarterRecipe(BaseModel):
    """How the starter's network is adapted: one way in full, and trials that each differ from it."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    seed: int
    folds: Annotated[int, Field(ge=2, le=16)]
    stored_side: Annotated[int, Field(ge=64, le=512)]
    blends: Annotated[list[Annotated[float, Field(gt=0, le=1)]], Field(min_length=1)]
    shipped: Shipped
    packed: Packed
    judged: Judged
    base: Trial
    trials: Annotated[dict[str, dict[str, Any]], Field(min_length=1)]

    @model_validator(mode="after")
    def _trials_are_whole(self) -> StarterRecipe:
        for name in (*self.trials, self.shipped.trial):
            self.trial(name)
        return self

    def trial(self, name: str) -> Trial:
        """One trial in full. Raises FloraError where the recipe has none of this name."""
        if name not in self.trials:
            raise FloraError(f"no trial {name!r} in the recipe; it has {', '.join(self.trials)}")
        return Trial.model_validate(self.base.model_dump() | self.trials[name])


def recipe_names() -> tuple[str, ...]:
    """The recipes that `train --recipe` knows: those with both a file and a module, in alphabetical order."""
    modules = {module.name for module in pkgutil.iter_modules(training.recipes.__path__)}
    return tuple(sorted(modules & {file.stem for file in FOLDER.glob("*.yaml")}))


def recipe_module(name: str) -> ModuleType:
    """The module of a recipe. Raises CollectionError, naming those that there are, where there is none."""
    known = recipe_names()
    if name not in known:
        raise CollectionError(f"--recipe {name}: there is no such recipe; choose {' or '.join(known)}")
    return importlib.import_module(f"training.recipes.{name}")


def load_recipe(name: str) -> Recipe:
    """The settings of a recipe. Raises FloraError naming the field that is wrong."""
    settings: type[Recipe] = recipe_module(name).Settings
    return read_as(FOLDER / f"{name}.yaml", settings)


def load_full_recipe() -> FullRecipe:
    """The settings of the full recipe, which this reads without torch. Raises FloraError naming the field."""
    return read_as(FOLDER / "full.yaml", FullRecipe)


def load_starter_recipe(path: Path = FOLDER / "starter.yaml") -> StarterRecipe:
    """Read a recipe of adapting. Raises FloraError naming the field that is wrong."""
    return read_as(path, StarterRecipe)
