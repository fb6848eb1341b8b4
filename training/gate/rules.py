"""configs/gate.yaml: the figures that decide whether a model may be put in charge."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from model.flora.load import CONFIGS, read_facts
from model.flora.species import Fact

Share = Annotated[float, Field(ge=0, le=1)]
Inside = Annotated[float, Field(gt=0, lt=1)]
Count = Annotated[int, Field(ge=1)]


class Number(Fact):
    """One figure of 0 or more with its source."""

    value: Annotated[float, Field(ge=0)]


class ShareOf(Fact):
    """One share, 0 to 1."""

    value: Share


class Level(Fact):
    """One share, between 0 and 1."""

    value: Inside


class Whole(Fact):
    """One count."""

    value: Count


class GateRules(BaseModel):
    """See the comments in configs/gate.yaml for each figure."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    least_photos: Whole
    draws: Whole
    level: Level
    balanced_loss: ShareOf
    species_photos: Whole
    species_loss: ShareOf
    top3_loss: ShareOf
    nll_growth: Number
    nll_slack: Number
    coverage: Level
    coverage_level: Level
    own_threshold: Whole
    auroc_loss: ShareOf
    unknown_nll_growth: Number
    golden_same: ShareOf
    golden_sure: ShareOf
    duplicate_bits: Whole
    duplicate_cosine: ShareOf
    duplicate_share: ShareOf
    skew: Number
    rejection_keeps: Level


def load_rules(configs: Path = CONFIGS) -> GateRules:
    """Read configs/gate.yaml. Raises FloraError naming the field that is wrong."""
    return read_facts(configs / "gate.yaml", GateRules)
