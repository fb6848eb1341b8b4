"""A rate as the user typed it, from the label in hand. No rate is known here."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Literal

from model.mix.doubt import MixError
from model.mix.number import amount, per_area
from model.mix.unit import NUMBER, kind_of, plain, read_number, read_percent, read_side, registry, split_sides

Measure = Literal["ml", "g"]
_RATIO = re.compile(
    rf"({NUMBER})\s*(?:parts?)?\s*(?::|\bin\b|\bto\b)\s*({NUMBER})\s*(?:parts?)?\s*(?:(?:of\s+)?water)?", re.IGNORECASE
)
SHAPES = (
    "write it as AMOUNT/AREA (an amount of product for an area), AMOUNT/LITRES (for an amount of water), 1:PARTS or "
    "PERCENT%, from the label in hand"
)


@dataclass(frozen=True)
class Rate:
    """Product for an area, or product for water.

    ``amount``: mL or g (``measure``) of product a square metre, or a litre of water to which it is ADDED (``per``).
    """

    typed: str
    amount: float
    measure: Measure
    per: Literal["m2", "litre"]

    def __str__(self) -> str:
        if self.per == "m2":
            return per_area(self.amount, self.measure)
        return f"{amount(self.amount, self.measure)} per litre of water"

    def as_json(self) -> dict[str, str]:
        """What was typed, and how it was understood."""
        return {"typed": self.typed, "read_as": str(self)}


def read_rate(text: str) -> Rate:
    """Read a rate: product over area, product over water, a ratio or a percentage.

    A ratio 1:40 (or 1 in 40) is one part of product added to 40 parts of water, 41 in all; of a
    percentage, so many mL (w/v: g) are added to 100 mL of water.

    >>> read_rate("1:40").amount, read_rate("2.5 kg/100 m2").amount
    (25.0, 25.0)

    Raises MixError with the cause, for whatever is not such a rate.
    """
    typed = plain(text)
    percent = read_percent(typed, "v/v|w/v")
    if percent:
        if percent[0] > 100:
            raise MixError("is more than 100 %; check the label")
        return Rate(typed, 10 * percent[0], "g" if percent[1] == "w/v" else "ml", "litre")
    ratio = _RATIO.fullmatch(typed)
    if ratio:
        product, water = read_number(ratio[1]), read_number(ratio[2])
        return Rate(typed, 1000 * product / water, "ml", "litre")
    sides = split_sides(re.sub(r"\s+(?:of\s+)?water$", "", typed, flags=re.IGNORECASE))
    if len(sides) == 1:
        sides = re.split(r"\s+in\s+", sides[0], flags=re.IGNORECASE)
    if len(sides) != 2:
        raise MixError(f"is not a rate; {SHAPES}")
    if "+" in sides[0].lstrip("+"):
        raise MixError("names more than one product; work out each on its own")
    return _of_sides(typed, read_side(sides[0]), read_side(sides[1], alone=True))


def _of_sides(typed: str, product: Any, over: Any) -> Rate:
    found, base = kind_of(product), kind_of(over)
    if found not in ("a volume", "a weight"):
        raise MixError(f"starts with {found}, which is not an amount of product; {SHAPES}")
    if base not in ("an area", "a volume"):
        raise MixError(f"ends in {base}, which is neither an area nor an amount of water; {SHAPES}")
    measure: Measure = "ml" if found == "a volume" else "g"
    top = product.to("milliliter" if measure == "ml" else "gram").magnitude
    bottom = over.to(registry().meter ** 2 if base == "an area" else "liter").magnitude
    return Rate(typed, float(top / bottom), measure, "m2" if base == "an area" else "litre")


def for_area(rate: Rate, sum_name: str) -> Rate:
    """The rate, if it is for an area. Raises MixError where it is for water: that is a spot rate."""
    if rate.per != "m2":
        raise MixError(
            f"{rate.typed} is product for an amount of water, and {sum_name} needs product for an area (AMOUNT/AREA, "
            "from the label in hand); for a spot mix use mix spot"
        )
    return rate


def for_water(rate: Rate) -> Rate:
    """The rate, if it is for water. Raises MixError where it is for an area: a boom rate, never for spots."""
    if rate.per != "litre":
        raise MixError(
            f"{rate.typed} is product for an area, and a spot mix cannot be computed from it: a spot rate is product "
            "for an amount of water (AMOUNT mL/L, AMOUNT g/10 L, 1:PARTS or PERCENT%), so find that on the label, and "
            "never carry a boom rate into a spot mix; where the output is measured, use mix tank"
        )
    return rate
