"""configs/gate.yaml: the figures that decide whether a model may be activated."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Generic, TypeVar

from pydantic import Field

from model.flora.load import CONFIGS, read_facts
from model.flora.species import Entry, Fact

T = TypeVar("T")
Share = Annotated[float, Field(ge=0, le=1)]
Level = Annotated[float, Field(gt=0, lt=1)]
Growth = Annotated[float, Field(ge=0)]
Count = Annotated[int, Field(ge=1)]


class Figure(Fact, Generic[T]):
    """One figure with its source."""

    value: T


class GateRules(Entry):
    """See the comments in configs/gate.yaml for each figure."""

    least_photos: Figure[Count]
    draws: Figure[Count]
    level: Figure[Level]
    balanced_loss: Figure[Share]
    species_photos: Figure[Count]
    species_loss: Figure[Share]
    top3_loss: Figure[Share]
    nll_growth: Figure[Growth]
    nll_slack: Figure[Growth]
    new_photos: Figure[Count]
    new_floor: Figure[Share]
    drawn: Figure[Count]
    coverage: Figure[Level]
    coverage_level: Figure[Level]
    own_threshold: Figure[Count]
    auroc_loss: Figure[Share]
    unknown_nll_growth: Figure[Growth]
    duplicate_share: Figure[Share]
    skew: Figure[Growth]


def load_rules(configs: Path = CONFIGS) -> GateRules:
    """Read configs/gate.yaml. Raises FloraError naming the field that is wrong."""
    return read_facts(configs / "gate.yaml", GateRules)
