"""One way to adapt the network, checked; the values and their reasons are in configs/recipes/starter.yaml."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from training.finetune.tune_settings import Light, Parts

Weight = Annotated[float, Field(ge=0, le=100)]
Net = Literal["lite0", "lite2"]


class Trial(BaseModel):
    """See the comments in the recipe for each value."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    net: Net
    kept_blocks: Annotated[int, Field(ge=0, le=20)]
    normalisations: Literal["kept", "learned"]
    side: Annotated[int, Field(ge=64, le=512)]
    steps: Annotated[int, Field(ge=0, le=100_000)]
    batch: Annotated[int, Field(ge=4, le=1024)]
    rate: Annotated[float, Field(gt=0, lt=1)]
    decay: Annotated[float, Field(ge=0, lt=1)]
    average_steps: Annotated[int, Field(ge=1)]
    evened: Annotated[float, Field(ge=0, le=1)]
    labelled: Weight
    smoothing: Annotated[float, Field(ge=0, lt=0.5)]
    mixed: Annotated[float, Field(ge=0, le=1)]
    clusters: Annotated[int, Field(ge=1, le=20)]
    instances: Weight
    heat: Annotated[float, Field(gt=0, le=1)]
    near: Weight
    drawings: Annotated[float, Field(ge=0, le=0.75)]
    softened: Annotated[float, Field(ge=0, le=1)]
    parts: Parts
    light: Light

    @property
    def views(self) -> int:
        """Views of each picture in a batch: two where a picture must be known again."""
        return 2 if self.instances else 1
