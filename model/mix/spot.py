"""A spot mix: product added to an amount of water."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from model.mix.doubt import positive, weigh
from model.mix.number import amount, said
from model.mix.rate import Rate, for_water
from model.mix.result import Figures, Result


@dataclass(frozen=True, kw_only=True)
class SpotMix(Result):
    """Product (mL or g, ``rate.measure``) for litres of WATER: 1:40 in 10 L of water is 250 mL, 10.25 L in all."""

    rate: Rate
    water_l: float

    @property
    def product(self) -> float:
        return self.rate.amount * self.water_l

    @property
    def figures(self) -> Figures:
        unit = self.rate.measure
        return {
            f"product_total_{unit}": self.product,
            f"product_per_litre_{unit}": self.rate.amount,
            "water_litres": self.water_l,
        }

    def as_json(self) -> dict[str, Any]:
        return {**super().as_json(), "rate": self.rate.as_json()}

    @property
    def told(self) -> list[tuple[str, str]]:
        return [(f"product for {said(self.water_l)} L of water", amount(self.product, self.rate.measure))]


def mix_spot(water_l: float, rate: Rate) -> SpotMix:
    """The product that is added to ``water_l`` litres of water.

    Raises MixError for a rate for an area, which must never be carried into a spot mix, and for water not above 0.
    """
    for_water(rate)
    water_l = positive("a volume", water_l, "L")
    product = rate.amount * water_l
    return SpotMix(
        rate=rate,
        water_l=water_l,
        working=(f"{rate} x {said(water_l)} L of water = {amount(product, rate.measure)}",),
        doubts=weigh("tank", water_l) + weigh("spot_share", rate.amount) + weigh("measured_amount", product),
    )
