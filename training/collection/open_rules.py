"""Which open photos are wanted: configs/open_photos.yaml, checked."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import Field

from model.flora.load import CONFIGS, read_as
from model.flora.species import Entry

Country = Annotated[str, Field(pattern="^[A-Z]{2}$")]
Share = Annotated[float, Field(gt=0, le=100)]


class Region(Entry):
    """Countries that are asked together, by ISO 3166-1; with ``provinces`` only those of them. Empty: everywhere."""

    name: str
    countries: tuple[Country, ...] = ()
    provinces: tuple[str, ...] = ()


class OpenRules(Entry):
    """See the comments in the file for each value."""

    of_one_observation: Annotated[int, Field(ge=1, le=100)]
    of_one_observer: Annotated[int, Field(ge=1, le=1000)]
    regions: Annotated[tuple[Region, ...], Field(min_length=1)]
    basis: Annotated[tuple[str, ...], Field(min_length=1)]
    issues: tuple[str, ...]
    looked_through: Annotated[int, Field(ge=1, le=100_000)]
    photo_megabytes: Share
    photo_seconds: Share


def load_open_rules(file: Path = CONFIGS / "open_photos.yaml") -> OpenRules:
    """The rules as they are shipped. Raises FloraError naming the field that is wrong."""
    return read_as(file, OpenRules)
