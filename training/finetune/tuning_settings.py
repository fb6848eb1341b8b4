"""What the recipes say of fine-tuning, checked; values and their reasons are in configs/recipes/full.yaml."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from model.flora.species import Entry

Share = Annotated[float, Field(ge=0, le=1)]
Positive = Annotated[float, Field(gt=0)]
Steps = Annotated[int, Field(ge=1, le=100_000)]


class Augmentation(Entry):
    """How the views to train on are varied; ``turned``: also upside down, as plants are that are seen from above."""

    least_share: Annotated[float, Field(gt=0, lt=1)]
    most_stretch: Annotated[float, Field(ge=1, le=2)]
    brightness: Share
    contrast: Share
    saturation: Share
    softened: Share
    mixed: Share
    turned: bool = False


class FullTraining(Entry):
    """How the network of the full recipe is fine-tuned."""

    side: Annotated[int, Field(ge=64, le=512, multiple_of=32)]
    batch: Annotated[int, Field(ge=2, le=1024)]
    kept_blocks: Annotated[int, Field(ge=0, le=16)]
    rate: Positive
    decay: Share
    augment: Augmentation
    epochs: Steps
    grow_epochs: Annotated[int, Field(ge=0, le=1000)]
    grow_rate: Positive
    smoothing: Share
    average_epochs: Positive
    look_every: Steps
    patience: Steps
