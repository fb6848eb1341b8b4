"""Numbers as a person reads them, and as a file keeps them."""

from __future__ import annotations

import math

SIGNIFICANT = 4


def readable(value: float) -> str:
    """A number to four significant figures, thousands separated, without trailing zeros.

    >>> readable(250.0), readable(94.63529), readable(12345.6), readable(0.02), readable(0)
    ('250', '94.64', '12,346', '0.02', '0')
    """
    if value == 0:
        return "0"
    decimals = max(0, SIGNIFICANT - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:,.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def tidy(value: float) -> float:
    """The number without floating-point noise, to twelve significant figures.

    >>> tidy(0.1 + 0.2)
    0.3
    """
    return float(f"{value:.12g}")


def amount(value: float, measure: str) -> str:
    """An amount of product, ``measure`` ml or g, in the unit that reads best.

    >>> amount(250, "ml"), amount(2500, "ml"), amount(0.2, "g"), amount(1040, "g")
    ('250 mL', '2.5 L', '0.2 g', '1.04 kg')
    """
    small, large = ("mL", "L") if measure == "ml" else ("g", "kg")
    return f"{readable(value / 1000)} {large}" if value >= 1000 else f"{readable(value)} {small}"


def per_area(value: float, measure: str) -> str:
    """A rate in mL or g a square metre, expressed per hectare.

    >>> per_area(0.5, "ml"), per_area(0.0005, "g"), per_area(2.5, "g")
    ('5 L/ha', '5 g/ha', '25 kg/ha')
    """
    return f"{amount(value * 10_000, measure)}/ha"
