"""A training recipe from configs/recipes, checked."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, model_validator

from model.flora.load import CONFIGS, read_as
from training.data.split import PARTS
from training.finetune.settings import FullTraining

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

    tune: FullTraining
    tuned_shrinkage: Annotated[list[Share], Field(min_length=1)]


def load_recipe(name: str, configs: Path = CONFIGS) -> Recipe:
    """Read configs/recipes/<name>.yaml. Raises FloraError naming the field that is wrong."""
    return read_as(configs / "recipes" / f"{name}.yaml", Recipe)


def load_full_recipe(configs: Path = CONFIGS) -> FullRecipe:
    """Read configs/recipes/full.yaml. Raises FloraError naming the field that is wrong."""
    return read_as(configs / "recipes" / "full.yaml", FullRecipe)
