"""What goes into a tank for an area: product a tank, area a tank, fills, and the last part fill."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from model.mix.doubt import Doubt, MixError, positive, weigh, weigh_output
from model.mix.number import amount, said
from model.mix.output import SQUARE_METRES_PER_HECTARE
from model.mix.rate import Rate, for_area
from model.mix.result import Figures, Result

NOISE = 1e-9  # of a fill: less is floating point, not spray


@dataclass(frozen=True, kw_only=True)
class TankMix(Result):
    """One tank at a time: product in ``rate.measure`` (mL or g). Without an area, fills and totals are None."""

    rate: Rate
    tank_l: float
    area_per_tank_m2: float
    product_per_tank: float
    area_m2: float | None = None
    fills: float | None = None
    full_fills: int | None = None
    last_fill: float | None = None  # as a share of a full one; 0 where the full ones do

    @property
    def product_total(self) -> float | None:
        """mL or g for the whole area."""
        return None if self.area_m2 is None else self.rate.amount * self.area_m2

    @property
    def last_fill_litres(self) -> float | None:
        return None if self.last_fill is None else self.last_fill * self.tank_l

    @property
    def last_fill_product(self) -> float | None:
        return None if self.last_fill is None else self.last_fill * self.product_per_tank

    @property
    def figures(self) -> Figures:
        unit = self.rate.measure
        return {
            f"product_per_tank_{unit}": self.product_per_tank,
            f"product_per_litre_{unit}": self.product_per_tank / self.tank_l,
            "area_per_tank_m2": self.area_per_tank_m2,
            "fills": self.fills,
            "full_fills": self.full_fills,
            "last_fill_litres": self.last_fill_litres,
            f"last_fill_product_{unit}": self.last_fill_product,
            f"product_total_{unit}": self.product_total,
            "spray_total_litres": None if self.fills is None else self.fills * self.tank_l,
        }

    def as_json(self) -> dict[str, Any]:
        return {**super().as_json(), "rate": self.rate.as_json()}

    @property
    def told(self) -> list[tuple[str, str]]:
        unit = self.rate.measure
        rows = [
            (f"product in {said(self.tank_l)} L of spray", amount(self.product_per_tank, unit)),
            ("a tank covers", f"{said(self.area_per_tank_m2)} m2"),
        ]
        if self.fills is None or self.last_fill is None or self.product_total is None:
            return rows
        rows.append(("full fills", str(self.full_fills)))
        if self.last_fill and self.last_fill_product is not None:
            last = f"{said(self.last_fill * self.tank_l)} L with {amount(self.last_fill_product, unit)} of product"
            rows.append(("last fill", last))
        return [*rows, ("product in all", amount(self.product_total, unit))]


def plan_tank(tank_l: float, output_l_ha: float, rate: Rate, area_m2: float | None = None) -> TankMix:
    """What goes into each tank (L of spray, product included) at a measured output and the label's rate for an area.

    Raises MixError for a rate for water, for amounts not above 0, and where the product alone is more than the spray.
    """
    for_area(rate, "mix tank")
    tank_l = positive("a tank", tank_l, "L")
    output_l_ha = positive("an output", output_l_ha, "L/ha")
    covered = tank_l * SQUARE_METRES_PER_HECTARE / output_l_ha
    product = rate.amount * covered
    if rate.measure == "ml" and product >= tank_l * 1000:
        raise MixError(
            f"{rate} of product is not less than the {said(output_l_ha)} L/ha of spray; check the rate and the output"
        )
    doubts = weigh("tank", tank_l) + weigh_output(output_l_ha) + weigh("tank_rate", rate.amount)
    doubts += weigh("tank_share", product / tank_l)
    working = (
        f"{said(tank_l)} L x 10,000 / {said(output_l_ha)} L/ha = {said(covered)} m2 a tank",
        f"{said(tank_l)} L / {said(output_l_ha)} L/ha x {rate} = {amount(product, rate.measure)} a tank",
    )
    mix = TankMix(
        rate=rate,
        tank_l=tank_l,
        area_per_tank_m2=covered,
        product_per_tank=product,
        working=working,
        doubts=doubts + weigh("measured_amount", product),
    )
    return mix if area_m2 is None else _over_area(mix, positive("an area", area_m2, "m2"))


def _over_area(mix: TankMix, area_m2: float) -> TankMix:
    """The same mix with its fills for an area."""
    fills = area_m2 / mix.area_per_tank_m2
    full = math.floor(fills + NOISE)
    last = fills - full if fills - full > NOISE else 0.0
    doubts = mix.doubts + weigh("area", area_m2) + weigh("fills", fills)
    if last and full:
        doubts += tuple(_shared_out(doubt, fills, mix.tank_l) for doubt in weigh("last_fill", last))
    if last and weigh("measured_amount", mix.product_per_tank) == ():
        doubts += weigh("measured_amount", last * mix.product_per_tank)
    sums = (
        f"{said(area_m2)} m2 / {said(mix.area_per_tank_m2)} m2 = {said(fills)} fills",
        f"{mix.rate} x {said(area_m2)} m2 = {amount(mix.rate.amount * area_m2, mix.rate.measure)} in all",
    )
    return TankMix(
        rate=mix.rate,
        tank_l=mix.tank_l,
        area_per_tank_m2=mix.area_per_tank_m2,
        product_per_tank=mix.product_per_tank,
        area_m2=area_m2,
        fills=fills,
        full_fills=full,
        last_fill=last,
        working=mix.working + sums,
        doubts=doubts,
    )


def _shared_out(doubt: Doubt, fills: float, tank_l: float) -> Doubt:
    """The doubt about a tiny last fill, with equal fills as the way out."""
    equal = math.ceil(fills)
    return Doubt(f"{doubt.text} ({equal} equal fills would be {said(fills * tank_l / equal)} L each)", doubt.asks)
