"""The limits of configs/spray.yaml, checked, with their sources in words."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Annotated, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import Field, field_validator, model_validator

from model.flora.load import CONFIGS, load_sources, read_facts
from model.flora.source import Sourced
from model.flora.species import Entry, Fact

FACTORS = ("delta_t", "wind", "heat", "cold", "humidity")
Number = Annotated[float, Field(allow_inf_nan=False)]


class Limit(Fact):
    """A limit, and the words that say why it matters."""

    value: Number
    because: str


class VapourLimit(Limit):
    """Temperature above which dried spray volatilises; ``hours``: for how long after spraying."""

    hours: Annotated[float, Field(gt=0)]


class Band(Entry):
    """Limits of one factor, in ``unit``; a reading on a limit is within it."""

    name: str
    unit: str
    stop_below: Limit | None = None
    caution_below: Limit | None = None
    caution_above: Limit | None = None
    stop_above: Limit | None = None

    @property
    def limits(self) -> list[Limit]:
        """The limits given, from low to high."""
        every = (self.stop_below, self.caution_below, self.caution_above, self.stop_above)
        return [limit for limit in every if limit is not None]

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        values = [limit.value for limit in self.limits]
        if not values or values != sorted(set(values)):
            raise ValueError("limits must rise: stop_below, caution_below, caution_above, stop_above")
        return self


class LawnHeat(Limit):
    """Temperature, C, above which an active injures some lawns."""

    active: str
    lawns: Annotated[list[str], Field(min_length=1)]


class RainRules(Entry):
    """Hours assumed where no figure is known; millimetres that a pre-emergent needs, but not at once."""

    assumed: Limit
    pre_emergent: Limit
    raining: Limit


class LockOut(Entry):
    """Hours of the clock lock-out around sunset and sunrise."""

    stop_before_sunset: Limit
    caution_before_sunset: Limit
    stop_after_sunrise: Limit

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.caution_before_sunset.value < self.stop_before_sunset.value:
            raise ValueError("caution_before_sunset must not be less than stop_before_sunset")
        return self


class Sign(Fact):
    """A sign of an inversion on site, as a question and as a statement."""

    question: str
    text: str


class Place(Fact):
    """Where the sunrise of a state is calculated. Degrees north and east; ``zone`` of the IANA database."""

    capital: str
    latitude: Annotated[float, Field(ge=-60, le=0)]
    longitude: Annotated[float, Field(ge=100, le=170)]
    zone: str

    @field_validator("zone")
    @classmethod
    def _known(cls, zone: str) -> str:
        try:
            ZoneInfo(zone)
        except (ZoneInfoNotFoundError, ValueError):
            raise ValueError(f"no time zone is called {zone}") from None
        return zone


class SprayFacts(Entry):
    """configs/spray.yaml."""

    bands: dict[str, Band]
    volatile: VapourLimit
    lawn_heat: list[LawnHeat]
    rain: RainRules
    inversion: LockOut
    signs: dict[str, Sign]
    places: Annotated[dict[str, Place], Field(min_length=1)]

    @model_validator(mode="after")
    def _complete(self) -> Self:
        if set(self.bands) != set(FACTORS):
            raise ValueError(f"bands must be {', '.join(FACTORS)}")
        return self


Rules = Sourced[SprayFacts]


@lru_cache(maxsize=4)
def load_rules(configs: Path = CONFIGS) -> Rules:
    """Read configs/spray.yaml and its sources. Raises FloraError naming the field that is wrong."""
    path = configs / "spray.yaml"
    return Rules(read_facts(path, SprayFacts), load_sources(configs))
