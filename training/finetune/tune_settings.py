"""What the full recipe says of fine-tuning, checked; the values and their reasons are in configs/recipes/full.yaml."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

Share = Annotated[float, Field(gt=0, lt=1)]
Positive = Annotated[float, Field(gt=0)]


class _Given(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Parts(_Given):
    """Which part of a photo a training view shows."""

    least_share: Share
    most_stretch: Annotated[float, Field(ge=1, le=2)]
    turned: bool


class Light(_Given):
    """How far the light of a training view may differ, as a share."""

    brightness: Annotated[float, Field(ge=0, lt=1)]
    contrast: Annotated[float, Field(ge=0, lt=1)]
    saturation: Annotated[float, Field(ge=0, lt=1)]


class Tune(_Given):
    """Fine-tuning; see the comments in its file for each value."""

    epochs: Annotated[int, Field(ge=1, le=1000)]
    grow_epochs: Annotated[int, Field(ge=0, le=1000)]
    sides: Annotated[list[Annotated[int, Field(ge=96, le=512)]], Field(min_length=1)]
    batch: Annotated[int, Field(ge=2, le=1024)]
    share_of_batch: Annotated[int, Field(ge=2, le=256)]
    kept_blocks: Annotated[int, Field(ge=0, le=15)]
    rate: Positive
    grow_rate: Positive
    decay: Annotated[float, Field(ge=0, lt=1)]
    smoothing: Annotated[float, Field(ge=0, lt=0.5)]
    mixed: Annotated[float, Field(ge=0, le=1)]
    average_epochs: Positive
    look_every: Annotated[int, Field(ge=1)]
    patience: Annotated[int, Field(ge=1)]
    parts: Parts
    light: Light
