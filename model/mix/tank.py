"""What goes into a tank for an area, and into an amount of water for spot spraying."""

from __future__ import annotations

import math

from model.mix.doubt import Doubt, MixError, doubt_about, doubt_about_output, positive
from model.mix.number import amount, readable
from model.mix.output import SQUARE_METRES_PER_HECTARE
from model.mix.rate import Rate, for_area, for_water
from model.mix.result import Figures, Result, Rows

NOISE = 1e-9  # of a fill: less is floating point, not spray
FILLS = ("fills", "full_fills", "last_fill_litres", "last_fill_product_{}", "product_total_{}", "spray_total_litres")


def plan_tank(tank_l: float, output_l_ha: float, rate: Rate, area_m2: float | None = None) -> Result:
    """What goes into each tank (L of spray, product included) at a measured output and the label's rate for an area.

    Figures of product are in mL or g, as the rate is; without an area, fills and totals are None. Raises MixError for
    a rate for water, for amounts not above 0, and where the product alone is more than the spray.
    """
    for_area(rate, "mix tank")
    tank_l = positive("a tank", tank_l, "L")
    output_l_ha = positive("an output", output_l_ha, "L/ha")
    unit, covered = rate.measure, tank_l * SQUARE_METRES_PER_HECTARE / output_l_ha
    product = rate.amount * covered
    spray, output = f"{readable(tank_l)} L", f"{readable(output_l_ha)} L/ha"
    if unit == "ml" and product >= tank_l * 1000:
        raise MixError(f"{rate} of product is not less than the {output} of spray; check the rate and the output")
    mix = Result(
        figures={
            f"product_per_tank_{unit}": product,
            f"product_per_litre_{unit}": product / tank_l,
            "area_per_tank_m2": covered,
            **dict.fromkeys(name.format(unit) for name in FILLS),
        },
        rows=((f"product in {spray} of spray", amount(product, unit)), ("a tank covers", f"{readable(covered)} m2")),
        working=(
            f"{spray} x 10,000 / {output} = {readable(covered)} m2 a tank",
            f"{spray} / {output} x {rate} = {amount(product, unit)} a tank",
        ),
        doubts=doubt_about("tank", tank_l)
        + doubt_about_output(output_l_ha)
        + doubt_about("tank_rate", rate.amount)
        + doubt_about("tank_share", product / tank_l)
        + doubt_about("measured_amount", product),
        details={"rate": rate.as_json()},
    )
    return mix if area_m2 is None else _over_area(mix, rate, tank_l, covered, positive("an area", area_m2, "m2"))


def _over_area(mix: Result, rate: Rate, tank_l: float, covered: float, area_m2: float) -> Result:
    """The same mix with its fills for an area; ``covered`` m2 a tank."""
    unit, fills = rate.measure, area_m2 / covered
    full = math.floor(fills + NOISE)
    last = fills - full if fills - full > NOISE else 0.0  # as a share of a full one
    total, last_product = rate.amount * area_m2, last * rate.amount * covered
    doubts = mix.doubts + doubt_about("area", area_m2) + doubt_about("fills", fills)
    if last and full:
        doubts += tuple(_or_equal_fills(doubt, fills, tank_l) for doubt in doubt_about("last_fill", last))
    if last and not doubt_about("measured_amount", rate.amount * covered):
        doubts += doubt_about("measured_amount", last_product)
    values = (fills, full, last * tank_l, last_product, total, fills * tank_l)
    figures: Figures = {name.format(unit): value for name, value in zip(FILLS, values, strict=True)}
    rows: Rows = (("full fills", str(full)), ("product in all", amount(total, unit)))
    if last:
        what = f"{readable(last * tank_l)} L with {amount(last_product, unit)} of product"
        rows = (rows[0], ("last fill", what), rows[1])
    working = (
        f"{readable(area_m2)} m2 / {readable(covered)} m2 = {readable(fills)} fills",
        f"{rate} x {readable(area_m2)} m2 = {amount(total, unit)} in all",
    )
    return Result(
        figures=mix.figures | figures,
        rows=mix.rows + rows,
        working=mix.working + working,
        doubts=doubts,
        details=mix.details,
    )


def _or_equal_fills(doubt: Doubt, fills: float, tank_l: float) -> Doubt:
    """The doubt about a tiny last fill, with equal fills as the way out."""
    equal = math.ceil(fills)
    return Doubt(f"{doubt.text} ({equal} equal fills would be {readable(fills * tank_l / equal)} L each)", doubt.asks)


def mix_spot(water_l: float, rate: Rate) -> Result:
    """The product to add to litres of WATER: 1:40 in 10 L of water is 250 mL, 10.25 L in all.

    Raises MixError for a rate for an area, which must never be carried into a spot mix, and for water not above 0.
    """
    for_water(rate)
    water_l = positive("a volume", water_l, "L")
    unit, product, water = rate.measure, rate.amount * water_l, f"{readable(water_l)} L of water"
    return Result(
        figures={
            f"product_total_{unit}": product, f"product_per_litre_{unit}": rate.amount, "water_litres": water_l,
        },
        rows=((f"product for {water}", amount(product, unit)),),
        working=(f"{rate} x {water} = {amount(product, unit)}",),
        doubts=doubt_about("tank", water_l)
        + doubt_about("spot_share", rate.amount)
        + doubt_about("measured_amount", product),
        details={"rate": rate.as_json()},
    )  # fmt: skip
