"""Granules on an area, and the active in them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from model.mix.doubt import MixError, positive, weigh
from model.mix.number import amount, per_area, said
from model.mix.rate import Rate, for_area
from model.mix.result import Figures, Result


@dataclass(frozen=True, kw_only=True)
class Spread(Result):
    """Granules at a rate, g a square metre; for an area and with a share of active where those are told."""

    rate: Rate
    area_m2: float | None = None
    active_percent: float | None = None

    @property
    def active(self) -> float | None:
        """g of active a square metre."""
        return None if self.active_percent is None else self.rate.amount * self.active_percent / 100

    @property
    def figures(self) -> Figures:
        g, active, area = self.rate.amount, self.active, self.area_m2
        return {
            "product_g_per_m2": g,
            "product_g_per_100m2": g * 100,
            "product_kg_per_hectare": g * 10,
            "product_total_g": None if area is None else g * area,
            "active_g_per_100m2": None if active is None else active * 100,
            "active_kg_per_hectare": None if active is None else active * 10,
            "active_total_g": None if active is None or area is None else active * area,
        }

    def as_json(self) -> dict[str, Any]:
        return {**super().as_json(), "rate": self.rate.as_json()}

    @property
    def told(self) -> list[tuple[str, str]]:
        rows = [("granules on 100 m2", amount(self.rate.amount * 100, "g"))]
        if self.area_m2 is not None:
            rows.insert(0, (f"granules on {said(self.area_m2)} m2", amount(self.rate.amount * self.area_m2, "g")))
        if self.active is not None:
            rows.append(("active", per_area(self.active, "g")))
        return rows


def spread(rate: Rate, area_m2: float | None = None, active_percent: float | None = None) -> Spread:
    """Granules by weight at the label's rate for an area; ``active_percent`` of the weight is active.

    Raises MixError for a rate for water or by volume, and for a percentage that is not above 0 and up to 100.
    """
    for_area(rate, "mix granule")
    if rate.measure != "g":
        raise MixError(f"{rate.typed} is a volume, and granules are weighed; for a liquid use mix tank")
    if area_m2 is not None:
        area_m2 = positive("an area", area_m2, "m2")
    working: tuple[str, ...] = (f"{said(rate.amount)} g/m2 x 10 = {said(rate.amount * 10)} kg/ha",)
    doubts = weigh("granule_rate", rate.amount)
    if area_m2 is not None:
        total = rate.amount * area_m2
        working += (f"{said(rate.amount)} g/m2 x {said(area_m2)} m2 = {amount(total, 'g')}",)
        doubts += weigh("area", area_m2) + weigh("measured_amount", total)
    if active_percent is not None:
        share = positive("an active", active_percent, "%")
        if share > 100:
            raise MixError(f"an active of {share:g} % is more than all of the product; check the label")
        active = rate.amount * share / 10
        working += (f"{said(rate.amount * 10)} kg/ha x {said(share)} % = {said(active)} kg/ha of active",)
    return Spread(rate=rate, area_m2=area_m2, active_percent=active_percent, working=working, doubts=doubts)
