"""Active and product: from one to the other through the strength of the product, and the active in granules."""

from __future__ import annotations

from dataclasses import dataclass

from model.mix.doubt import MixError, doubt_about, positive
from model.mix.number import amount, per_area, readable
from model.mix.rate import Measure, Rate, for_area
from model.mix.result import Figures, Result, Rows, area_figures
from model.mix.unit import kind_of, plain, read_percent, read_side, split_sides


@dataclass(frozen=True)
class Strength:
    """Active in a product: g a litre where ``measure`` is ml, g a kilogram where it is g."""

    typed: str
    grams: float
    measure: Measure

    def __str__(self) -> str:
        return f"{readable(self.grams)} g/{'L' if self.measure == 'ml' else 'kg'}"


def read_strength(text: str) -> Strength:
    """Read what a label gives as strength: g/L, lb/gal, g/kg, or a percentage by weight (of a liquid: % w/v).

    >>> str(read_strength("50%")), str(read_strength("36 % w/v"))
    ('500 g/kg', '360 g/L')

    Raises MixError for anything else, and for more active than product.
    """
    typed = plain(text)
    percent = read_percent(typed, "w/w|w/v")
    if percent:
        strength = Strength(typed, percent[0] * 10, "ml" if percent[1] == "w/v" else "g")
    else:
        sides = split_sides(typed)
        if len(sides) != 2:
            raise MixError("is not a strength; write g/L, g/kg or a percentage, from the label in hand")
        active, over = read_side(sides[0]), read_side(sides[1], alone=True)
        if kind_of(active) != "a weight" or kind_of(over) not in ("a volume", "a weight"):
            raise MixError(f"{kind_of(active)} in {kind_of(over)} is not a strength; write g/L, g/kg or a percentage")
        measure: Measure = "ml" if kind_of(over) == "a volume" else "g"
        bottom = over.to("liter" if measure == "ml" else "kilogram").magnitude
        strength = Strength(typed, float(active.to("gram").magnitude / bottom), measure)
    if strength.measure == "g" and strength.grams > 1000:
        raise MixError("is more active than product; check the label")
    return strength


def product_for(active: Rate, strength: Strength, area_m2: float | None = None) -> Result:
    """The product that carries a rate of active for an area. Raises MixError for a rate by volume or for water."""
    for_area(active, "mix strength")
    if active.measure != "g":
        raise MixError(f"{active.typed} is a volume, and active is weighed; give the active as a weight for an area")
    product = active.amount * 1000 / strength.grams
    working = f"{active} of active / {strength} = {per_area(product, strength.measure)} of product"
    return _dose(strength, product, active.amount, area_m2, working)


def active_in(product: Rate, strength: Strength, area_m2: float | None = None) -> Result:
    """The active in a rate of product for an area. Raises MixError where rate and strength do not go together."""
    for_area(product, "mix strength")
    if product.measure != strength.measure:
        raise MixError(
            f"{product.typed} and a strength of {strength} do not go together: one is by volume, the other by weight"
        )
    active = product.amount * strength.grams / 1000
    working = f"{product} of product x {strength} = {per_area(active, 'g')} of active"
    return _dose(strength, product.amount, active, area_m2, working)


def _dose(strength: Strength, product: float, active: float, area_m2: float | None, first: str) -> Result:
    """Product (mL or g as the strength is) and the active in it (g), a square metre."""
    unit = strength.measure
    working: tuple[str, ...] = (first,)
    doubts = doubt_about("strength", strength.grams) + doubt_about("active_rate", active)
    rows: Rows = tuple(
        (what, f"{per_area(value, measure)}, {amount(value * 100, measure)} on 100 m2")
        for what, value, measure in (("product", product, unit), ("active", active, "g"))
    )
    if area_m2 is not None:
        area_m2 = positive("an area", area_m2, "m2")
        total = amount(product * area_m2, unit)
        working += (f"{per_area(product, unit)} x {readable(area_m2)} m2 = {total} of product",)
        rows += ((f"product on {readable(area_m2)} m2", total),)
        doubts += doubt_about("area", area_m2)
    figures = area_figures("product", product, unit, area_m2) | area_figures("active", active, "g", area_m2)
    return Result(figures=figures, rows=rows, working=working, doubts=doubts)


def spread(rate: Rate, area_m2: float | None = None, active_percent: float | None = None) -> Result:
    """Granules by weight at the label's rate for an area; ``active_percent`` of the weight is active.

    Raises MixError for a rate for water or by volume, and for a percentage that is not above 0 and up to 100.
    """
    for_area(rate, "mix granule")
    if rate.measure != "g":
        raise MixError(f"{rate.typed} is a volume, and granules are weighed; for a liquid use mix tank")
    grams, active = rate.amount, None
    working: tuple[str, ...] = (f"{readable(grams)} g/m2 x 10 = {readable(grams * 10)} kg/ha",)
    rows: Rows = (("granules on 100 m2", amount(grams * 100, "g")),)
    doubts = doubt_about("granule_rate", grams)
    if area_m2 is not None:
        total = grams * positive("an area", area_m2, "m2")
        working += (f"{readable(grams)} g/m2 x {readable(area_m2)} m2 = {amount(total, 'g')}",)
        rows = ((f"granules on {readable(area_m2)} m2", amount(total, "g")), *rows)
        doubts += doubt_about("area", area_m2) + doubt_about("measured_amount", total)
    if active_percent is not None:
        share = positive("an active", active_percent, "%")
        if share > 100:
            raise MixError(f"an active of {share:g} % is more than all of the product; check the label")
        active = grams * share / 100
        working += (f"{readable(grams * 10)} kg/ha x {readable(share)} % = {readable(active * 10)} kg/ha of active",)
        rows += (("active", per_area(active, "g")),)
    figures: Figures = {"product_g_per_m2": grams, **area_figures("product", grams, "g", area_m2)}
    figures |= area_figures("active", active, "g", area_m2)
    return Result(figures=figures, rows=rows, working=working, doubts=doubts, details={"rate": rate.as_json()})
