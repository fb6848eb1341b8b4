"""Nitrogen, phosphorus and potassium from an analysis and a rate; and the product for a wanted dose of nitrogen."""

from __future__ import annotations

import re
from dataclasses import dataclass

from model.mix.doubt import Doubt, MixError, doubt_about, load_mix_facts, positive
from model.mix.number import amount, per_area, readable
from model.mix.rate import Measure, Rate, for_area
from model.mix.result import Result, area_figures

_PART = r"([0-9]{1,3}(?:\.[0-9]+)?)\s*%?"
READ_AS_OXIDES = (
    "the second and third numbers are read as P2O5 and K2O; where the bag gives P and K themselves, add --elements"
)
NAMES = {"phosphate": "phosphate (P2O5)", "potash": "potash (K2O)"}
_ANALYSIS = re.compile(rf"\s*{_PART}\s*[-:\u2013]\s*{_PART}\s*[-:\u2013]\s*{_PART}\s*")


@dataclass(frozen=True)
class Analysis:
    """Per cent of nitrogen, phosphorus and potassium: as N, P2O5 and K2O, or with ``elements`` as N, P and K.

    Of a liquid it is weight by volume, g in 100 mL.
    """

    nitrogen: float
    phosphorus: float
    potassium: float
    elements: bool = False

    @property
    def nutrients(self) -> dict[str, float]:
        """Per cent of each, as oxides and as elements."""
        oxides = load_mix_facts().oxides
        in_p, in_k = oxides.phosphorus_in_phosphate, oxides.potassium_in_potash
        p, k = (self.phosphorus, self.potassium) if self.elements else (self.phosphorus * in_p, self.potassium * in_k)
        return {"nitrogen": self.nitrogen, "phosphate": p / in_p, "potash": k / in_k, "phosphorus": p, "potassium": k}

    def __str__(self) -> str:
        return f"{self.nitrogen:g}-{self.phosphorus:g}-{self.potassium:g}"


def read_analysis(text: str, elements: bool = False) -> Analysis:
    """Read three percentages from the bag, N-P-K.

    >>> str(read_analysis("14 - 0 - 0"))
    '14-0-0'

    Raises MixError for anything else, and where they sum to more than 100.
    """
    match = _ANALYSIS.fullmatch(text)
    if match is None:
        raise MixError("is not an analysis; write the three percentages of the bag, N-P-K, with hyphens (0 for none)")
    numbers = [float(part) for part in match.groups()]
    if sum(numbers) > 100:
        raise MixError(f"sums to {sum(numbers):g} %, more than all of the product; check the bag")
    if sum(numbers) == 0:
        raise MixError("has no nutrient in it; check the bag")
    return Analysis(numbers[0], numbers[1], numbers[2], elements)


def feed(analysis: Analysis, rate: Rate, area_m2: float | None = None) -> Result:
    """The nutrients in fertiliser at a rate for an area. Raises MixError for a rate for water.

    A rate by volume takes the analysis as weight by volume.
    """
    for_area(rate, "mix nitrogen")
    grams = rate.amount * analysis.nitrogen / 100
    unit, large = ("g", "kg") if rate.measure == "g" else ("mL", "L")
    product, percent = f"{readable(rate.amount)} {unit}/m2", readable(analysis.nitrogen)
    working = (
        f"{product} x {percent} % N / 10 = {readable(grams * 10)} kg/ha of nitrogen",
        f"{product} x 10 = {readable(rate.amount * 10)} {large}/ha of product",
    )
    return _feed(analysis, rate.amount, rate.measure, area_m2, working)


def feed_for(analysis: Analysis, want_g_per_100m2: float, area_m2: float | None = None, liquid: bool = False) -> Result:
    """The product that gives a wanted dose of nitrogen, g a 100 m2. Raises MixError if it holds no nitrogen.

    ``liquid``: the analysis is weight by volume, and the product comes in mL.
    """
    want = positive("a dose", want_g_per_100m2, "g of nitrogen per 100 m2")
    if analysis.nitrogen == 0:
        raise MixError(f"{analysis} holds no nitrogen, so no amount of it gives any")
    needed = want / analysis.nitrogen  # g or mL a square metre: want / 100 m2 / (per cent / 100)
    measure: Measure = "ml" if liquid else "g"
    product = f"{amount(needed * 100, measure)} on 100 m2"
    working = f"{readable(want)} g of nitrogen / ({readable(analysis.nitrogen)} % / 100) = {product}"
    return _feed(analysis, needed, measure, area_m2, (working,))


def _feed(
    analysis: Analysis, needed: float, measure: Measure, area_m2: float | None, working: tuple[str, ...]
) -> Result:
    """Fertiliser at ``needed`` g or mL (``measure``) a square metre, and the nutrients in it."""
    doubts = doubt_about("granule_rate", needed) + doubt_about("nitrogen_content", analysis.nitrogen)
    rows = [("product on 100 m2", amount(needed * 100, measure))]
    dose = needed * analysis.nitrogen
    if dose:
        doubts += doubt_about("nitrogen", dose) or doubt_about("nitrogen_usual", dose)
    if area_m2 is not None:
        area_m2 = positive("an area", area_m2, "m2")
        area, total = f"{readable(area_m2)} m2", amount(needed * area_m2, measure)
        working += (f"{amount(needed * 100, measure)} x {area} / 100 = {total}",)
        rows.insert(0, (f"product on {area}", total))
        doubts += doubt_about("area", area_m2)
    if (analysis.phosphorus or analysis.potassium) and not analysis.elements:
        doubts += (Doubt(READ_AS_OXIDES, False),)
    figures = area_figures("product", needed, measure, area_m2)
    for name, percent in analysis.nutrients.items():
        grams = needed * percent / 100
        figures |= area_figures(name, grams, "g", area_m2)
        if grams:
            rows.append((NAMES.get(name, name), f"{amount(grams * 100, 'g')} on 100 m2, {per_area(grams, 'g')}"))
    return Result(figures=figures, rows=tuple(rows), working=working, doubts=doubts)
