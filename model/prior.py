"""What is believed about the species before any photo or answer."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field

from model.errors import SwardkeyError, nearest
from model.flora.load import CONFIGS, Flora, read_as
from model.flora.species import Standing

Share = Annotated[float, Field(gt=0, lt=1)]
Positive = Annotated[float, Field(gt=0)]


class Region(BaseModel):
    """How a region differs: factors on single species, and months by which its seasons shift."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    weights: dict[str, Positive]
    shift: int = 0


class PriorConfig(BaseModel):
    """configs/prior.yaml: the share of unlisted plants and of relatives, weights of words, regions."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    unlisted: Share
    relatives: Share
    alike: Share
    in_lawns: dict[str, Positive]
    out_of_season: Share
    regions: dict[str, Region]
    source: list[str]
    standing: Standing


def load_prior(configs: Path = CONFIGS) -> PriorConfig:
    """Read configs/prior.yaml. Raises FloraError naming the field that is wrong."""
    return read_as(configs / "prior.yaml", PriorConfig)


def prior(
    flora: Flora, config: PriorConfig, month: int | None = None, region: str | None = None
) -> NDArray[np.float64]:
    """Prior probability of each hypothesis, float (species + 1,), sums to 1, last is unlisted.

    Flat over the species when told nothing; with a region, by how common each weed is in
    lawns; with a month (1-12), less for a plant out of its season. Raises SwardkeyError for
    a region that is not in the configuration.
    """
    weights = np.ones(len(flora.ids))
    shift = 0
    if region is not None:
        if region not in config.regions:
            raise SwardkeyError(f"region {region!r} is not in configs/prior.yaml; {nearest(region, config.regions)}")
        place = config.regions[region]
        shift = place.shift
        for i, plant in enumerate(flora.species.values()):
            weights[i] = config.in_lawns[plant.in_lawns] * place.weights.get(plant.id, 1.0)
    if month is not None:
        local = (month - shift - 1) % 12 + 1
        seen = np.array([local in plant.season.seen for plant in flora.species.values()])
        weights *= np.where(seen, 1.0, config.out_of_season)
    listed = weights / weights.sum() * (1.0 - config.unlisted)
    return np.append(listed, config.unlisted)
