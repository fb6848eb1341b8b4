"""Amounts with units as people write them: the words of the trade, else any unit that pint knows."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from model.errors import nearest
from model.mix.doubt import Doubt, MixError

if TYPE_CHECKING:
    from pint import UnitRegistry

NUMBER = r"[+-]?(?:[0-9]{1,3}(?:,[0-9]{3})+|[0-9]+|(?=\.[0-9]))(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?"
LONGEST = 80  # characters of anything typed
LARGEST = 1e9  # more than is ever sprayed or spread, in any unit

# pint's name: how people write it, in lower case without spaces, dots and power signs.
# Gallon, fluid ounce, pint and quart are imperial, as they were in Australia, unless "us" stands before them.
_WORDS = {
    word: unit
    for unit, words in {
        "liter": "l lt ltr ltrs litre litres liter liters",
        "milliliter": "ml mls cc millilitre millilitres milliliter milliliters",
        "fluid_ounce": "usfloz usflozs usfluidounce usfluidounces usfluidoz",
        "imperial_fluid_ounce": "floz flozs fluidounce fluidounces fluidoz "
        "impfloz imperialfloz ukfloz imperialfluidounce imperialfluidounces",
        "gallon": "usgal usgals usgallon usgallons",
        "imperial_gallon": "gal gals gallon gallons impgal imperialgal imperialgallon imperialgallons ukgal",
        "quart": "usqt usqts usquart usquarts",
        "imperial_quart": "qt qts quart quarts impqt imperialquart",
        "pint": "uspt uspts uspint uspints",
        "imperial_pint": "pt pts pint pints imppt imperialpint",
        "gram": "g gm gms gram grams gramme grammes",
        "kilogram": "kg kgs kilo kilos kilogram kilograms kilogramme kilogrammes",
        "milligram": "mg mgs milligram milligrams",
        "ounce": "oz ozs ounce ounces",
        "pound": "lb lbs pound pounds",
        "metric_ton": "t tonne tonnes",
        "meter**2": "m2 sqm msq sqmetre sqmetres sqmeter sqmeters squaremetre squaremetres squaremeter squaremeters",
        "hectare": "ha hectare hectares",
        "acre": "ac acre acres",
        "foot**2": "ft2 sqft ftsq sf squarefoot squarefeet",
        "1000*foot**2": "kft2 kftsq ksqft ksf msf",
        "yard**2": "yd2 sqyd sqyds squareyard squareyards",
        "meter": "m metre metres meter meters",
        "centimeter": "cm centimetre centimetres",
        "millimeter": "mm millimetre millimetres",
        "kilometer": "km kms kilometre kilometres",
        "foot": "ft foot feet",
        "inch": "in ins inch inches",
        "second": "s sec secs second seconds",
        "minute": "min mins minute minutes",
        "hour": "h hr hrs hour hours",
    }.items()
    for word in words.split()
}
# Words that mean one thing to the writer and another to the reader.
_REFUSED = {
    "ML": "ML is a million litres; write mL for millilitres",
    "Ml": "Ml is a million litres; write mL for millilitres",
    "Mg": "Mg is a million grams; write mg or kg",
    "MG": "MG may be a million grams; write mg or kg",
    "M": "M may be metres or a thousand; write m, or kft2 for 1000 square feet",
    "ton": "a ton is not everywhere the same; write tonne",
    "tons": "a ton is not everywhere the same; write tonne",
}
_SPEEDS = {"mph": "mile/hour", "kph": "km/h", "kmh": "km/h", "kmph": "km/h"}
_DIMENSIONS = {
    "a volume": "[length]**3",
    "a weight": "[mass]",
    "an area": "[length]**2",
    "a length": "[length]",
    "a time": "[time]",
}
_REMARKS = {
    "imperial_fluid_ounce": "fl oz is read as imperial, 28.41 mL (on an American label write us floz, 29.57 mL)",
    "imperial_gallon": "gal is read as imperial, 4.546 L (on an American label write us gal, 3.785 L)",
    "imperial_pint": "pint is read as imperial, 568 mL (on an American label write us pint, 473 mL)",
    "imperial_quart": "quart is read as imperial, 1.137 L (on an American label write us quart, 946 mL)",
    "ounce": "oz is read as a weight, 28.35 g (write floz for a liquid)",
}


@dataclass(frozen=True)
class Measure:
    """What an option is measured in: a unit of pint, and for a ratio the unit that it is over."""

    words: str
    unit: str
    over: str | None = None


LITRES = Measure("litres", "liter")
SQUARE_METRES = Measure("square metres", "meter**2")
METRES = Measure("metres", "meter")
SECONDS = Measure("seconds", "second")
LITRES_PER_HECTARE = Measure("litres per hectare", "liter", "hectare")
LITRES_PER_MINUTE = Measure("litres per minute", "liter", "minute")
KM_PER_HOUR = Measure("kilometres per hour", "kilometer", "hour")
GRAMS_PER_100M2 = Measure("grams per 100 square metres", "gram", "100*meter**2")


@lru_cache(maxsize=1)
def registry() -> UnitRegistry[float]:
    """pint's registry, made once and only when a unit is read: it takes half a second."""
    import pint

    return pint.UnitRegistry()


def plain(text: str) -> str:
    """What was typed, in plain characters (m² becomes m2) and single spaces. Raises MixError if it is too long."""
    if len(text) > LONGEST:
        raise MixError(f"longer than {LONGEST} characters; write an amount and a unit")
    return " ".join(unicodedata.normalize("NFKC", text).split())


def read_number(text: str) -> float:
    """A number more than 0, as 1,000 or 0.5 or 1e3. Raises MixError."""
    if not re.fullmatch(NUMBER, text.strip()):
        raise MixError(f"{text.strip() or 'nothing'} is not a number; write it like 1000 or 0.5")
    value = float(text.replace(",", ""))
    if value <= 0:
        raise MixError(f"{text.strip()} is impossible; give a number more than 0")
    if not 1 / LARGEST <= value <= LARGEST:
        raise MixError(f"{text.strip()} is beyond anything that is sprayed or spread; check it")
    return value


def read_percent(text: str, bases: str) -> tuple[float, str] | None:
    """A percentage and its basis in small letters (one of the alternatives in ``bases``, or empty); else None.

    >>> read_percent("2 % W/V", "v/v|w/v"), read_percent("2 L", "v/v|w/v")
    ((2.0, 'w/v'), None)
    """
    match = re.fullmatch(rf"({NUMBER})\s*(?:%|percent|per cent|pct)\s*({bases})?", text, re.IGNORECASE)
    return (read_number(match[1]), (match[2] or "").lower()) if match else None


def unit_word(text: str) -> str:
    """pint's expression for a unit as people write it.

    >>> unit_word("sq. ft"), unit_word("Fl Oz"), unit_word("US gal")
    ('foot**2', 'imperial_fluid_ounce', 'gallon')

    Raises MixError for an unknown word, or one that is easily mistaken.
    """
    bare = re.sub(r"[\s._^*]", "", text)
    if bare in _REFUSED:
        raise MixError(_REFUSED[bare])
    if bare.lower() in _WORDS:
        return _WORDS[bare.lower()]
    if not re.fullmatch(r"[A-Za-zµμ_ ]+[23]?", text):
        raise MixError(f"{text} is not a unit; {_advice(bare)}")
    return re.sub(r"([23])$", r"**\1", text.replace(" ", "_"))


def read_side(text: str, alone: bool = False) -> Any:
    """One side of a rate, [number] unit, as a pint quantity. ``alone``: the number may be left out.

    Raises MixError saying what is missing or unknown.
    """
    match = re.fullmatch(rf"({NUMBER})?\s*(.*)", text.strip())
    number, unit = match.groups() if match else (None, text)
    if re.match(r"(?:[-\u2013\u2014]|to\b)\s*[0-9]", unit) and number:
        raise MixError(f"{text} is a range; choose one amount within it")
    if not unit:
        raise MixError(f"{text or 'an empty side'} has no unit")
    if number is None and not alone:
        raise MixError(f"{text} has no amount in front, or it is not a number")
    expression = unit_word(unit)
    import pint

    try:
        return (read_number(number) if number else 1.0) * registry().parse_expression(expression)
    except (pint.PintError, AttributeError, ValueError, TypeError):
        raise MixError(f"{unit} is not a unit that is known; {_advice(unit)}") from None


def kind_of(side: Any) -> str:
    """What a side of a rate is: a volume, a weight, an area, a length, a time, or something else."""
    for words, dimension in _DIMENSIONS.items():
        if side.check(dimension):
            return words
    return "something else"


def _advice(word: str) -> str:
    """What to write instead of a word that is not a unit."""
    if "\u2044" in word:
        return "write a fraction like 0.5"
    close = nearest(word.replace(" ", "").lower(), _WORDS)
    return close if close.startswith("did you mean") else "write one like mL, L, g, kg, m2 or ha"


def split_sides(text: str) -> list[str]:
    """What stands before and after the one "/" or "per". Raises MixError when there are two."""
    parts = re.split(r"\s*/\s*|\s+per\s+", text)
    if len(parts) > 2:
        raise MixError("has more than one / or per; write one amount over one area or volume, and fractions like 0.5")
    return parts


def read_quantity(text: str, measure: Measure) -> float:
    """A number in the measure's own unit, or an amount with any unit of its kind. Returns it in that unit.

    >>> read_quantity("10", LITRES), round(read_quantity("3 gal", LITRES), 3)
    (10.0, 13.638)

    Raises MixError for what is not such an amount, and for what is not more than 0.
    """
    typed = plain(text)
    if re.fullmatch(NUMBER, typed) or re.fullmatch(r"[+-]?(?:nan|inf|infinity)|", typed, re.IGNORECASE):
        return read_number(typed)
    for word, speed in _SPEEDS.items():
        typed = re.sub(rf"(?<![A-Za-z]){word}$", speed, typed, flags=re.IGNORECASE)
    parts = split_sides(typed)
    wanted = [measure.unit] + ([measure.over] if measure.over else [])
    if len(parts) != len(wanted):
        raise MixError(f"is not in {measure.words}; give a number of those, or an amount with such a unit")
    values = []
    for place, (part, unit) in enumerate(zip(parts, wanted, strict=True)):
        side = read_side(part, alone=place == 1)
        target = registry().parse_expression(unit)
        if side.dimensionality != target.dimensionality:
            raise MixError(f"{part} is {kind_of(side)}; give a number of {measure.words}, or such a unit")
        values.append(float((side / target).to("dimensionless").magnitude))
    return values[0] / values[1] if len(values) == 2 else values[0]


def remarks(*typed: str | None) -> tuple[Doubt, ...]:
    """How units that differ between countries or trades were read, once each: mentioned, never asked."""
    found: dict[str, None] = {}
    for text in typed:
        for part in re.split(r"/|\bper\b|\bin\b", plain(text or "")):
            bare = re.sub(r"[^a-z]", "", part.lower())
            remark = _REMARKS.get(_WORDS.get(bare, ""))
            if remark and not bare.startswith(("imp", "uk")):
                found[remark] = None
    return tuple(Doubt(text, False) for text in found)
