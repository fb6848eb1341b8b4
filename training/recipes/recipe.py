"""Training recipes: the settings of each from configs/recipes, checked, and the module that makes its model.

A recipe NAME is the file configs/recipes/NAME.yaml and the module training/recipes/NAME.py, which has ``Settings``,
the class that checks the file, and ``make``, which makes a Candidate of a Training. Nothing else lists the recipes.
"""

from __future__ import annotations

import ast
import importlib.util
import pkgutil
from pathlib import Path
from types import ModuleType
from typing import Annotated

from pydantic import Field, model_validator

import training.recipes
from model.errors import CollectionError
from model.flora.load import CONFIGS, read_as
from model.flora.species import Entry
from training.data.split import PARTS
from training.finetune.tuning_settings import FullTraining

FOLDER = CONFIGS / "recipes"
Share = Annotated[float, Field(gt=0, lt=1)]


class Recipe(Entry):
    """What every recipe needs; see the comments in quick.yaml for each value."""

    shares: dict[str, Share]
    seed: int
    shrinkage: Share
    folds: Annotated[int, Field(ge=2, le=20)]
    least_floor: Share
    least_dependence: Annotated[float, Field(ge=0, le=1)]
    base_photos: Annotated[float, Field(gt=0)]
    least_calibration_photos: Annotated[int, Field(ge=2)]
    null_draws: Annotated[int, Field(ge=20)]

    @model_validator(mode="after")
    def _shares_are_whole(self) -> Recipe:
        if tuple(self.shares) != PARTS or abs(sum(self.shares.values()) - 1) > 1e-9:
            raise ValueError(f"shares must be {', '.join(PARTS)}, in this order, and sum to 1")
        return self


class FullRecipe(Recipe):
    """The full recipe: the same, and how the network is fine-tuned."""

    tune: FullTraining
    tuned_shrinkage: Annotated[list[Share], Field(min_length=1)]


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


def recipes_said() -> str:
    """Every recipe and what it does, from the first line of its module, which is not imported: some need torch."""
    found = {}
    for name in recipe_names():
        spec = importlib.util.find_spec(f"training.recipes.{name}")
        assert spec is not None and spec.origin is not None
        words = ast.get_docstring(ast.parse(Path(spec.origin).read_text(encoding="utf-8"))) or name
        found[name] = words.splitlines()[0].partition(": ")[2].rstrip(".")
    return "; ".join(f"{name}: {words}" for name, words in found.items()) + "."


def load_recipe(name: str) -> Recipe:
    """The settings of a recipe. Raises FloraError naming the field that is wrong."""
    settings: type[Recipe] = recipe_module(name).Settings
    return read_as(FOLDER / f"{name}.yaml", settings)
