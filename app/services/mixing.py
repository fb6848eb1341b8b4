"""The sums of spraying, spreading and feeding, from what was typed in the fields of a form or a command.

Each is one function of SUMS. A rate is always the user's own, from the label in hand.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import TypeVar

from model import mix
from model.mix import MixError, Result, unit
from model.mix.number import amount, readable

Value = TypeVar("Value")
MEASURES = {
    **dict.fromkeys(("litres", "tank", "volume"), unit.LITRES),
    **dict.fromkeys(("swath", "course"), unit.METRES),
    "area": unit.SQUARE_METRES,
    "output": unit.LITRES_PER_HECTARE,
    "flow": unit.LITRES_PER_MINUTE,
    "speed": unit.KM_PER_HOUR,
    "want": unit.GRAMS_PER_100M2,
    "percent": unit.Measure("per cent", "percent"),
}


@dataclass(frozen=True)
class Form:
    """What was typed, by field; fields left empty are not in it. ``called`` says how a message names a field."""

    typed: Mapping[str, str]
    called: Callable[[str, str], str] = lambda name, text: name
    seconds: Sequence[str] = ()
    flags: frozenset[str] = field(default_factory=frozenset)

    def __contains__(self, name: str) -> bool:
        return name in self.typed

    def read(self, name: str, reader: Callable[[str], Value]) -> Value:
        """What a field holds. Raises MixError that names the field and what was typed."""
        text = self.typed[name]
        try:
            return reader(text)
        except MixError as error:
            raise MixError(f"{self.called(name, text)}: {error}") from None

    def number(self, name: str) -> float:
        """An amount in the field's own unit, always more than 0."""
        return self.read(name, lambda text: mix.read_quantity(text, MEASURES[name]))

    @property
    def area(self) -> float | None:
        """The area in square metres, where it was given."""
        return self.number("area") if "area" in self else None

    @property
    def times(self) -> list[float]:
        """Seconds, one for each run."""
        timed = [Form({"seconds": text}, self.called) for text in self.seconds]
        return [one.read("seconds", lambda text: mix.read_quantity(text, unit.SECONDS)) for one in timed]


def output(form: Form) -> Result:
    """Litres a hectare, in whichever way enough was given for, and nothing besides."""
    given = {*form.typed, *(["seconds"] if form.seconds else [])}
    if given == {"litres", "area"}:
        return mix.output_from_area(form.number("litres"), form.number("area"))
    if given == {"flow", "seconds", "area"}:
        return mix.output_from_time(form.number("flow"), form.times, form.number("area"))
    if given == {"flow", "speed", "swath"}:
        return mix.output_from_speed(form.number("flow"), form.number("speed"), form.number("swath"))
    if given == {"flow", "course", "seconds", "swath"}:
        speed = mix.speed_over(form.number("course"), form.times)
        return mix.output_from_speed(form.number("flow"), speed, form.number("swath"))
    raise MixError(
        "the output is measured from --litres and --area, or --flow, --seconds and --area, or --flow, --swath and "
        "--speed (or --course and --seconds); give one of these sets, whole and alone"
    )


def tank(form: Form) -> Result:
    """Product in each tank, the area that a tank covers, and the fills for an area."""
    return mix.plan_tank(form.number("tank"), form.number("output"), form.read("rate", mix.read_rate), form.area)


def spot(form: Form) -> Result:
    """Product for an amount of water."""
    return mix.mix_spot(form.number("volume"), form.read("rate", mix.read_rate))


def granule(form: Form) -> Result:
    """Granules for an area, and the active in them."""
    share = None
    if "active" in form:
        share = form.read("active", lambda text: mix.read_quantity(text.strip().removesuffix("%"), MEASURES["percent"]))
    return mix.spread(form.read("rate", mix.read_rate), form.area, share)


def nitrogen(form: Form) -> Result:
    """Nutrients in a rate of fertiliser, or the product for a wanted dose of nitrogen."""
    bag = form.read("analysis", lambda text: mix.read_analysis(text, "elements" in form.flags))
    liquid = "liquid" in form.flags
    if "rate" in form and liquid:
        raise MixError("--liquid goes with --want; with --rate, a volume for an area says that it is a liquid")
    if ("rate" in form) == ("want" in form):
        raise MixError("give either --rate from the label in hand, or --want in grams of nitrogen on 100 m2")
    if "rate" in form:
        return mix.feed(bag, form.read("rate", mix.read_rate), form.area)
    return mix.feed_for(bag, form.number("want"), form.area, liquid)


def strip(form: Form) -> Result:
    """How long a strip of one pass is that covers a test area."""
    return mix.strip_length(form.number("area"), form.number("swath"))


def strength(form: Form) -> Result:
    """Product that carries a rate of active, or the active in a rate of product."""
    power = form.read("strength", mix.read_strength)
    if ("active" in form) == ("product" in form):
        raise MixError("give either --active or --product, a rate for an area from the label in hand")
    if "active" in form:
        return mix.product_for(form.read("active", mix.read_rate), power, form.area)
    return mix.active_in(form.read("product", mix.read_rate), power, form.area)


SUMS: dict[str, Callable[[Form], Result]] = {
    work.__name__: work for work in (output, tank, spot, granule, nitrogen, strip, strength)
}


TITLES = {
    "output": "Sprayer output",
    "tank": "Tank mix",
    "spot": "Spot spraying",
    "granule": "Granules",
    "nitrogen": "Fertiliser",
    "strip": "Test strip",
    "strength": "Active and product",
}
OF_PRODUCT = ("tank", "spot", "granule")  # those that say how much product is used


@dataclass(frozen=True)
class Amounts:
    """What a sum of a product says for the record; None or "" where it does not say.

    ``rate`` as it was typed; ``water_litres`` of spray and ``total`` of product, in all.
    """

    rate: str = ""
    area_m2: float | None = None
    water_litres: float | None = None
    total: str = ""
    tank_loads: str = ""


def amounts_of(result: Result, typed: Mapping[str, str]) -> Amounts:
    """The amounts of one of the sums OF_PRODUCT, from its result and what was typed for it.

    >>> typed = {"tank": "10", "output": "400", "rate": "3 L/ha", "area": "350"}
    >>> amounts_of(tank(Form(typed)), typed)
    Amounts(rate='3 L/ha', area_m2=350.0, water_litres=14.0, total='105 mL', tank_loads='1 of 10 L, 1 of 4 L')
    """
    figures = result.figures
    unit = "ml" if "product_total_ml" in figures else "g"
    total, full, last = (figures.get(n) for n in (f"product_total_{unit}", "full_fills", "last_fill_litres"))
    loads = []
    if full:
        loads.append(f"{full:g} of {readable(Form(typed).number('tank'))} L")
    if last:
        loads.append(f"1 of {readable(last)} L")
    return Amounts(
        rate=typed["rate"],
        area_m2=Form({"area": typed["area"]}).area if typed.get("area") else None,
        water_litres=figures.get("spray_total_litres", figures.get("water_litres")),
        total="" if total is None else amount(total, unit),
        tank_loads=", ".join(loads),
    )


def area_of(shapes: Sequence[tuple[str, str]]) -> Result:
    """The area of shapes, each a form (``less-`` before it takes the shape away) and its sizes."""
    found = []
    for name, sizes in shapes:
        outline = name.removeprefix("less-")
        reader = partial(mix.read_shape, outline, less=outline != name)
        found.append(Form({name: sizes}, called_as_option).read(name, reader))
    return mix.measure_area(found)


def called_as_option(name: str, text: str) -> str:
    """A field as the command line has it."""
    return f"--{name} {text!r}"


def notes_on(result: Result, *typed: str) -> list[str]:
    """What to know beside a result: its doubts, and what was understood of units that mean two things."""
    return [doubt.text for doubt in (*result.doubts, *unit.remarks(*typed))]
