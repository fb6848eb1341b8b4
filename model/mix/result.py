"""What every calculation returns: figures with their units, the working, and what looks wrong."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from model.mix.doubt import Doubt
from model.mix.number import tidy

LABEL_FIRST = (
    "The label in your hand comes first: check the rate, the water and every figure here against it before you mix."
)
Figures = dict[str, float | int | None]
Rows = tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class Result:
    """A finished calculation.

    ``figures``: not rounded, under names that carry their unit; None where too little was given. ``rows``: name and
    amount as a person reads them. ``working``: each formula with its numbers put in, one a line. ``details``: further
    fields of the JSON, such as the rate as it was read.
    """

    figures: Figures
    rows: Rows
    working: tuple[str, ...]
    doubts: tuple[Doubt, ...] = ()
    details: Mapping[str, Any] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """The figures with the working, the doubts and the sentence on the label."""
        figures = {name: tidy(value) if isinstance(value, float) else value for name, value in self.figures.items()}
        return {
            **figures,
            "working": list(self.working),
            "doubts": [doubt.text for doubt in self.doubts],
            "label_first": LABEL_FIRST,
            **self.details,
        }


def area_figures(name: str, per_m2: float | None, measure: str, area_m2: float | None) -> Figures:
    """An amount a square metre, mL or g (``measure``), as figures for 100 m2, for a hectare and for an area.

    >>> area_figures("product", 2.0, "g", None)
    {'product_g_per_100m2': 200.0, 'product_kg_per_hectare': 20.0, 'product_total_g': None}
    """
    unit, large = ("g", "kg") if measure == "g" else ("ml", "litres")
    return {
        f"{name}_{unit}_per_100m2": None if per_m2 is None else per_m2 * 100,
        f"{name}_{large}_per_hectare": None if per_m2 is None else per_m2 * 10,
        f"{name}_total_{unit}": None if per_m2 is None or area_m2 is None else per_m2 * area_m2,
    }
