"""The prior: how probable each species is before any photo or answer."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from model.errors import SwardkeyError, nearest
from model.flora.load import CONFIGS, Flora, read_as
from model.flora.species import Entry, Standing

Share = Annotated[float, Field(gt=0, lt=1)]
Positive = Annotated[float, Field(gt=0)]
EVERYWHERE = "none"  # typed for no region: a flat prior


class Region(Entry):
    """How a region differs: factors on single species, and months by which its seasons shift."""

    weights: dict[str, Positive]
    shift: int = 0


class PriorConfig(Entry):
    """configs/prior.yaml: shares of unlisted plants and of relatives, weights of the words for commonness, regions."""

    unlisted: Share
    relatives: Share
    alike: Share
    looks: Annotated[int, Field(ge=1)]
    in_lawns: dict[str, Positive]
    out_of_season: Share
    regions: dict[str, Region]
    usual_region: str
    source: list[str]
    standing: Standing


def load_prior(configs: Path = CONFIGS) -> PriorConfig:
    """Read configs/prior.yaml. Raises FloraError naming the field that is wrong."""
    return read_as(configs / "prior.yaml", PriorConfig)


def prior(
    flora: Flora, config: PriorConfig, month: int | None = None, region: str | None = None
) -> NDArray[np.float64]:
    """Prior probability of each hypothesis, float (species + 1,), sums to 1, last is unlisted.

    Flat over the species by default; with a region, by how common each weed is in lawns; with a month (1-12), less for
    a plant out of season. Raises SwardkeyError for a region that is not in the configuration.
    """
    weights = np.ones(len(flora.ids))
    local = season_month(config, month, region)
    if region is not None:
        place = config.regions[region]
        for i, plant in enumerate(flora.species.values()):
            weights[i] = config.in_lawns[plant.in_lawns] * place.weights.get(plant.id, 1.0)
    if local is not None:
        weights *= np.where(flora.calendar["seen"][:, local - 1], 1.0, config.out_of_season)
    listed = weights / weights.sum() * (1.0 - config.unlisted)
    return np.append(listed, config.unlisted)


def season_month(config: PriorConfig, month: int | None, region: str | None) -> int | None:
    """The month (1-12) of the species files' calendar that corresponds to a month in a region.

    Raises SwardkeyError for a region that is not in the configuration.
    """
    if region is not None and region not in config.regions:
        close = nearest(region, [*config.regions, EVERYWHERE])
        raise SwardkeyError(f"region {region!r} is not in configs/prior.yaml; {close}")
    shift = config.regions[region].shift if region is not None else 0
    return (month - shift - 1) % 12 + 1 if month is not None else None


def region_named(config: PriorConfig, name: str | None) -> str | None:
    """The region for a name: the usual one where none is named, None for ``none``.

    Raises SwardkeyError for a region that is not in the configuration.
    """
    if name == EVERYWHERE:
        return None
    region = config.usual_region if name is None else name
    season_month(config, None, region)
    return region
