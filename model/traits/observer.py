"""How an observer answers: error and cost by effort, and what frequency words weigh."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from model.flora.character import Effort
from model.flora.load import CONFIGS, read_as
from model.flora.species import Frequency, Standing

Share = Annotated[float, Field(gt=0, lt=1)]
Positive = Annotated[float, Field(gt=0)]


class Observer(BaseModel):
    """configs/observer.yaml: shares are of answers, shoulders of ln(reading), costs in glances."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    error: dict[Effort, Share]
    cost: dict[Effort, Positive]
    reading: Positive
    settling: Annotated[float, Field(ge=0)]
    frequency: dict[Frequency, Positive]
    shoulder: dict[str, Positive]
    month_shoulder: Positive
    background: Share
    source: list[str]
    standing: Standing


def load_observer(configs: Path = CONFIGS) -> Observer:
    """Read configs/observer.yaml. Raises FloraError naming the field that is wrong."""
    return read_as(configs / "observer.yaml", Observer)
