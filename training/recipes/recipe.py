"""A training recipe from configs/recipes, checked."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, model_validator

from model.errors import FloraError
from model.flora.load import CONFIGS, read_as
from training.adapt.trial import Trial
from training.data.split import PARTS
from training.finetune.tune_settings import Tune

Share = Annotated[float, Field(gt=0, lt=1)]


class Recipe(BaseModel):
    """One recipe; see the comments in its file for each value."""

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


def load_recipe(name: str, configs: Path = CONFIGS) -> Recipe:
    """Read configs/recipes/<name>.yaml. Raises FloraError naming the field that is wrong."""
    return read_as(configs / "recipes" / f"{name}.yaml", Recipe)


def load_full_recipe(configs: Path = CONFIGS) -> FullRecipe:
    """Read configs/recipes/full.yaml. Raises FloraError naming the field that is wrong."""
    return read_as(configs / "recipes" / "full.yaml", FullRecipe)


def load_starter_recipe(path: Path = CONFIGS / "recipes" / "starter.yaml") -> StarterRecipe:
    """Read a recipe of adapting. Raises FloraError naming the field that is wrong."""
    return read_as(path, StarterRecipe)
