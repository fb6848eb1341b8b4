"""Impossible input, which is an error, and implausible input, which is a doubt that the user settles."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Literal, Self

from pydantic import Field, model_validator

from model.errors import SwardkeyError
from model.flora.load import CONFIGS, read_facts
from model.flora.species import Entry, Fact
from model.mix.number import readable


class MixError(SwardkeyError):
    """The calculation cannot be done. The message says what was wrong and what to give."""


@dataclass(frozen=True)
class Doubt:
    """Something that may be a slip. ``asks``: stop until the user confirms it; else it is only mentioned."""

    text: str
    asks: bool


class Span(Fact):
    """The plausible span of one quantity, in ``unit``; ``beyond`` it, ask or only say so."""

    what: str
    unit: str
    low: float = Field(ge=0, allow_inf_nan=False)
    high: float = Field(gt=0, allow_inf_nan=False)
    beyond: Literal["ask", "say"]
    hint: str

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.low >= self.high:
            raise ValueError(f"low {self.low:g} is not below high {self.high:g}")
        return self


class Oxides(Fact):
    """Weight of the element in one weight of its oxide: P in P2O5 and K in K2O."""

    phosphorus_in_phosphate: float = Field(gt=0, lt=1)
    potassium_in_potash: float = Field(gt=0, lt=1)


class MixFacts(Entry):
    """configs/mix.yaml: plausible spans by name, and the oxides of fertiliser."""

    spans: dict[str, Span]
    oxides: Oxides

    @model_validator(mode="after")
    def _complete(self) -> Self:
        missing = sorted(SPANS - set(self.spans))
        if missing or set(self.spans) - SPANS:
            raise ValueError(f"spans must be {', '.join(sorted(SPANS))}; missing: {', '.join(missing) or 'none'}")
        return self


SPANS = {
    "boom_output", "knapsack_spot_output", "output", "flow", "speed", "swath", "tank", "area", "fills", "tank_rate",
    "tank_share", "spot_share", "granule_rate", "last_fill", "measured_amount", "nitrogen_usual", "nitrogen",
    "nitrogen_content", "strength", "active_rate",
}  # fmt: skip


@lru_cache(maxsize=4)
def load_mix_facts(configs: Path = CONFIGS) -> MixFacts:
    """Read configs/mix.yaml. Raises FloraError naming the field that is wrong."""
    return read_facts(configs / "mix.yaml", MixFacts)


def doubt_about(name: str, value: float) -> tuple[Doubt, ...]:
    """The doubt about a value, by the span ``name`` and in its unit; none where it is plausible.

    >>> doubt_about("tank", 10)
    ()
    >>> doubt_about("tank", 5000)[0].asks
    True
    """
    span = load_mix_facts().spans[name]
    # A value on the limit that rounding puts just beyond it is not in doubt.
    if span.low * (1 - 1e-9) <= value <= span.high * (1 + 1e-9):
        return ()
    text = (
        f"{span.what} of {readable(value)} {span.unit} is outside {readable(span.low)} to {readable(span.high)} "
        f"({span.standing}): {span.hint}"
    )
    return (Doubt(text, span.beyond == "ask"),)


def doubt_about_output(litres_per_hectare: float) -> tuple[Doubt, ...]:
    """The doubt about an output, L/ha: asked where absurd, mentioned where it suits neither boom nor knapsack."""
    asked = doubt_about("output", litres_per_hectare)
    if asked:
        return asked
    spans = load_mix_facts().spans
    if litres_per_hectare < spans["boom_output"].low:
        return doubt_about("boom_output", litres_per_hectare)
    if litres_per_hectare > spans["knapsack_spot_output"].high:
        return doubt_about("knapsack_spot_output", litres_per_hectare)
    return ()


def positive(what: str, value: float, unit: str) -> float:
    """The value, if it is a number more than 0. Raises MixError naming the quantity."""
    if not math.isfinite(value) or value <= 0:
        raise MixError(f"{what} of {value:g} {unit} is impossible; give a number more than 0")
    return float(value)
