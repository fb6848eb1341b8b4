"""Nitrogen, phosphorus and potassium from an analysis and a rate; and the product for a wanted dose of nitrogen."""

from __future__ import annotations

import re
from dataclasses import dataclass

from model.mix.doubt import Doubt, MixError, load_mix_facts, positive, weigh
from model.mix.number import amount, per_area, said
from model.mix.rate import Measure, Rate, for_area
from model.mix.result import Figures, Result

_PART = r"([0-9]{1,3}(?:\.[0-9]+)?)\s*%?"
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
        raise MixError("holds nothing; check the bag")
    return Analysis(numbers[0], numbers[1], numbers[2], elements)


@dataclass(frozen=True, kw_only=True)
class Feed(Result):
    """Fertiliser at ``amount`` g or mL (``measure``) a square metre, and the nutrients in it."""

    analysis: Analysis
    amount: float
    measure: Measure
    area_m2: float | None = None

    @property
    def figures(self) -> Figures:
        unit, large = ("g", "kg") if self.measure == "g" else ("ml", "litres")
        area = self.area_m2
        figures: Figures = {
            f"product_{unit}_per_100m2": self.amount * 100,
            f"product_{large}_per_hectare": self.amount * 10,
            f"product_total_{unit}": None if area is None else self.amount * area,
        }
        for name, percent in self.analysis.nutrients.items():
            grams = self.amount * percent / 100
            figures[f"{name}_g_per_100m2"] = grams * 100
            figures[f"{name}_kg_per_hectare"] = grams * 10
            figures[f"{name}_total_g"] = None if area is None else grams * area
        return figures

    @property
    def told(self) -> list[tuple[str, str]]:
        rows = [("product on 100 m2", amount(self.amount * 100, self.measure))]
        if self.area_m2 is not None:
            rows.insert(0, (f"product on {said(self.area_m2)} m2", amount(self.amount * self.area_m2, self.measure)))
        names = {"phosphate": "phosphate (P2O5)", "potash": "potash (K2O)"}
        for name, percent in self.analysis.nutrients.items():
            grams = self.amount * percent / 100
            if grams:
                told = f"{amount(grams * 100, 'g')} on 100 m2, {per_area(grams, 'g')}"
                rows.append((names.get(name, name), told))
        return rows


def feed(analysis: Analysis, rate: Rate, area_m2: float | None = None) -> Feed:
    """The nutrients in fertiliser at a rate for an area. Raises MixError for a rate for water.

    A rate by volume takes the analysis as weight by volume.
    """
    for_area(rate, "mix nitrogen")
    grams = rate.amount * analysis.nitrogen / 100
    unit, large = ("g", "kg") if rate.measure == "g" else ("mL", "L")
    working = (
        f"{said(rate.amount)} {unit}/m2 x {said(analysis.nitrogen)} % N / 10 = {said(grams * 10)} kg/ha of nitrogen",
        f"{said(rate.amount)} {unit}/m2 x 10 = {said(rate.amount * 10)} {large}/ha of product",
    )
    return _feed(analysis, rate.amount, rate.measure, area_m2, working)


def feed_for(analysis: Analysis, want_g_per_100m2: float, area_m2: float | None = None, liquid: bool = False) -> Feed:
    """The product that gives a wanted dose of nitrogen, g a 100 m2. Raises MixError if it holds no nitrogen.

    ``liquid``: the analysis is weight by volume, and the product comes in mL.
    """
    want = positive("a dose", want_g_per_100m2, "g of nitrogen per 100 m2")
    if analysis.nitrogen == 0:
        raise MixError(f"{analysis} holds no nitrogen, so no amount of it gives any")
    needed = want / analysis.nitrogen  # g or mL a square metre: want / 100 m2 / (per cent / 100)
    measure: Measure = "ml" if liquid else "g"
    told = (
        f"{said(want)} g of nitrogen / ({said(analysis.nitrogen)} % / 100) = {amount(needed * 100, measure)} on 100 m2"
    )
    return _feed(analysis, needed, measure, area_m2, (told,))


def _feed(analysis: Analysis, needed: float, measure: Measure, area_m2: float | None, working: tuple[str, ...]) -> Feed:
    doubts = weigh("granule_rate", needed) + weigh("nitrogen_content", analysis.nitrogen)
    dose = needed * analysis.nitrogen
    if dose:
        doubts += weigh("nitrogen", dose) or weigh("nitrogen_usual", dose)
    if area_m2 is not None:
        area_m2 = positive("an area", area_m2, "m2")
        working += (
            f"{amount(needed * 100, measure)} x {said(area_m2)} m2 / 100 = {amount(needed * area_m2, measure)}",
        )
        doubts += weigh("area", area_m2)
    if (analysis.phosphorus or analysis.potassium) and not analysis.elements:
        doubts += (
            Doubt(
                "the second and third numbers are read as P2O5 and K2O; where the bag gives P and K themselves, add "
                "--elements",
                False,
            ),
        )
    return Feed(analysis=analysis, amount=needed, measure=measure, area_m2=area_m2, working=working, doubts=doubts)
