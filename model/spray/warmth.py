"""When weeds germinate: thresholds of soil temperature and of degree-days, from configs/warmth.yaml."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from model.flora.load import CONFIGS, load_sources, read_facts
from model.flora.source import Sourced
from model.flora.species import Entry, Fact
from model.spray.degree_days import DegreeDays, Unit


class Threshold(Fact):
    """An event in the life of some weeds, or in their control."""

    weeds: Annotated[list[str], Field(min_length=1)]
    event: str
    note: str = ""


class SoilThreshold(Threshold):
    """Soil temperatures, C, at which it happens: from ``low``, up to ``high``; ``season`` in southern months."""

    low: float | None = None
    high: float | None = None
    depth_mm: float | None = None
    mean: str | None = None
    season: str

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.low is None and self.high is None:
            raise ValueError("give low, high or both")
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError("low must be below high")
        return self

    def holds(self, soil: float) -> bool:
        """Whether a soil temperature, C, is between ``low`` and ``high``."""
        return (self.low is None or soil >= self.low) and (self.high is None or soil <= self.high)

    def __str__(self) -> str:
        if self.low is None:
            span = f"below {self.high:g} °C"
        else:
            span = f"at {self.low:g} °C or more" if self.high is None else f"at {self.low:g} to {self.high:g} °C"
        where = f" at {self.depth_mm:g} mm" if self.depth_mm else ""
        how = f", {self.mean} mean" if self.mean else ""
        return f"{self.event}: soil {span}{where}{how}; {self.season}{f'; {self.note}' if self.note else ''}"


class DegreeDayThreshold(Threshold):
    """Totals from ``low`` to ``high`` by a model; ``base`` and ``unit`` None where its source states none."""

    model: str
    low: Annotated[float, Field(gt=0)]
    high: Annotated[float, Field(gt=0)]
    base: float | None
    unit: Unit | None

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.low > self.high:
            raise ValueError("low must not be above high")
        if (self.base is None) != (self.unit is None):
            raise ValueError("give base and unit, or neither")
        return self

    @property
    def ends(self) -> tuple[DegreeDays, DegreeDays] | None:
        """Both totals with base and unit; None where the source states none."""
        if self.base is None or self.unit is None:
            return None
        return DegreeDays(self.low, self.base, self.unit), DegreeDays(self.high, self.base, self.unit)

    def stand(self, total: DegreeDays) -> Literal["before", "within", "past", "another model"]:
        """Where a total stands; ``another model`` where the bases differ, or this one's is not stated."""
        ends = self.ends
        if ends is None or not total.has_base_of(ends[0]):
            return "another model"
        low, high = (end.in_unit(total.unit).total for end in ends)
        # A total that is short of the threshold by rounding alone has reached it.
        if total.total + 1e-9 < low:
            return "before"
        return "within" if total.total <= high + 1e-9 else "past"


class WarmthFacts(Entry):
    """configs/warmth.yaml."""

    soil: list[SoilThreshold]
    degree_days: list[DegreeDayThreshold]

    @property
    def weeds(self) -> tuple[str, ...]:
        """Species ids with a threshold, sorted."""
        entries: Sequence[Threshold] = [*self.soil, *self.degree_days]
        return tuple(sorted({weed for entry in entries for weed in entry.weeds}))


@dataclass(frozen=True)
class Warmth(Sourced[WarmthFacts]):
    """The thresholds and their sources."""

    def soil_of(self, weed: str) -> list[SoilThreshold]:
        """Soil temperatures of a weed; empty where none is known."""
        return [entry for entry in self.facts.soil if weed in entry.weeds]

    def degree_days_of(self, weed: str | None) -> list[DegreeDayThreshold]:
        """Totals of a weed, or of all."""
        return [entry for entry in self.facts.degree_days if weed is None or weed in entry.weeds]


@lru_cache(maxsize=4)
def load_warmth(configs: Path = CONFIGS) -> Warmth:
    """Read configs/warmth.yaml and its sources. Raises FloraError naming the field that is wrong."""
    path = configs / "warmth.yaml"
    return Warmth(read_facts(path, WarmthFacts), load_sources(configs))
