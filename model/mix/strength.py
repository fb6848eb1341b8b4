"""From active to product and back, through the strength of the product."""

from __future__ import annotations

import re
from dataclasses import dataclass

from model.mix.doubt import MixError, positive, weigh
from model.mix.number import amount, per_area, said
from model.mix.rate import Measure, Rate, for_area
from model.mix.result import Figures, Result
from model.mix.unit import NUMBER, kind_of, plain, read_number, read_side, split_sides

_PERCENT = re.compile(rf"({NUMBER})\s*(?:%|percent|per cent|pct)\s*(w/w|w/v)?", re.IGNORECASE)


@dataclass(frozen=True)
class Strength:
    """Active in a product: g a litre where ``measure`` is ml, g a kilogram where it is g."""

    typed: str
    grams: float
    measure: Measure

    def __str__(self) -> str:
        return f"{said(self.grams)} g/{'L' if self.measure == 'ml' else 'kg'}"


@dataclass(frozen=True, kw_only=True)
class Dose(Result):
    """Product and the active in it, a square metre: product in mL or g as the strength is, active in g."""

    strength: Strength
    product: float
    active: float
    area_m2: float | None = None

    @property
    def figures(self) -> Figures:
        unit, large = ("g", "kg") if self.strength.measure == "g" else ("ml", "litres")
        area = self.area_m2
        return {
            f"product_{unit}_per_100m2": self.product * 100,
            f"product_{large}_per_hectare": self.product * 10,
            f"product_total_{unit}": None if area is None else self.product * area,
            "active_g_per_100m2": self.active * 100,
            "active_kg_per_hectare": self.active * 10,
            "active_total_g": None if area is None else self.active * area,
        }

    @property
    def told(self) -> list[tuple[str, str]]:
        unit = self.strength.measure
        rows = [
            ("product", f"{per_area(self.product, unit)}, {amount(self.product * 100, unit)} on 100 m2"),
            ("active", f"{per_area(self.active, 'g')}, {amount(self.active * 100, 'g')} on 100 m2"),
        ]
        if self.area_m2 is not None:
            rows.append((f"product on {said(self.area_m2)} m2", amount(self.product * self.area_m2, unit)))
        return rows


def read_strength(text: str) -> Strength:
    """Read what a label gives as strength: g/L, lb/gal, g/kg, or a percentage by weight (of a liquid: % w/v).

    >>> str(read_strength("50%")), str(read_strength("36 % w/v"))
    ('500 g/kg', '360 g/L')

    Raises MixError for anything else, and for more active than product.
    """
    typed = plain(text)
    percent = _PERCENT.fullmatch(typed)
    if percent:
        found = read_number(percent[1]) * 10
        strength = Strength(typed, found, "ml" if (percent[2] or "").lower() == "w/v" else "g")
    else:
        parts = split_sides(typed)
        if len(parts) != 2:
            raise MixError("is not a strength; write g/L, g/kg or a percentage, from the label in hand")
        active, over = read_side(parts[0]), read_side(parts[1], alone=True)
        if kind_of(active) != "a weight" or kind_of(over) not in ("a volume", "a weight"):
            raise MixError(f"{kind_of(active)} in {kind_of(over)} is not a strength; write g/L, g/kg or a percentage")
        measure: Measure = "ml" if kind_of(over) == "a volume" else "g"
        bottom = over.to("liter" if measure == "ml" else "kilogram").magnitude
        strength = Strength(typed, float(active.to("gram").magnitude / bottom), measure)
    if strength.measure == "g" and strength.grams > 1000:
        raise MixError("is more active than product; check the label")
    return strength


def product_for(active: Rate, strength: Strength, area_m2: float | None = None) -> Dose:
    """The product that carries a rate of active for an area. Raises MixError for a rate by volume or for water."""
    for_area(active, "mix strength")
    if active.measure != "g":
        raise MixError(f"{active.typed} is a volume, and active is weighed; give the active as a weight for an area")
    product = active.amount * 1000 / strength.grams
    told = f"{active} of active / {strength} = {per_area(product, strength.measure)} of product"
    return _dose(strength, product, active.amount, area_m2, told)


def active_in(product: Rate, strength: Strength, area_m2: float | None = None) -> Dose:
    """The active in a rate of product for an area. Raises MixError where rate and strength do not go together."""
    for_area(product, "mix strength")
    if product.measure != strength.measure:
        raise MixError(
            f"{product.typed} and a strength of {strength} do not go together: one is by volume, the other by weight"
        )
    active = product.amount * strength.grams / 1000
    told = f"{product} of product x {strength} = {per_area(active, 'g')} of active"
    return _dose(strength, product.amount, active, area_m2, told)


def _dose(strength: Strength, product: float, active: float, area_m2: float | None, told: str) -> Dose:
    working: tuple[str, ...] = (told,)
    doubts = weigh("strength", strength.grams) + weigh("active_rate", active)
    if area_m2 is not None:
        area_m2 = positive("an area", area_m2, "m2")
        total = amount(product * area_m2, strength.measure)
        working += (f"{per_area(product, strength.measure)} x {said(area_m2)} m2 = {total} of product",)
        doubts += weigh("area", area_m2)
    return Dose(strength=strength, product=product, active=active, area_m2=area_m2, working=working, doubts=doubts)
