"""The sums of spraying, spreading and feeding, from what was typed in the fields of a form or a command.

Each is one function of SUMS. A rate is always the user's own, from the label in hand.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import TypeVar

from model.mix import (
    MixError,
    Result,
    active_in,
    feed,
    feed_for,
    measure_area,
    mix_spot,
    output_from_area,
    output_from_speed,
    output_from_time,
    plan_tank,
    product_for,
    read_analysis,
    read_quantity,
    read_rate,
    read_shape,
    read_strength,
    speed_over,
    spread,
    strip_length,
)
from model.mix.unit import (
    GRAMS_PER_100M2,
    KM_PER_HOUR,
    LITRES,
    LITRES_PER_HECTARE,
    LITRES_PER_MINUTE,
    METRES,
    SECONDS,
    SQUARE_METRES,
    Measure,
    remarks,
)

Value = TypeVar("Value")
MEASURES = {
    "litres": LITRES,
    "tank": LITRES,
    "volume": LITRES,
    "area": SQUARE_METRES,
    "output": LITRES_PER_HECTARE,
    "flow": LITRES_PER_MINUTE,
    "speed": KM_PER_HOUR,
    "swath": METRES,
    "course": METRES,
    "want": GRAMS_PER_100M2,
    "percent": Measure("per cent", "percent"),
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
        return self.read(name, lambda text: read_quantity(text, MEASURES[name]))

    @property
    def area(self) -> float | None:
        """The area in square metres, where it was given."""
        return self.number("area") if "area" in self else None

    @property
    def times(self) -> list[float]:
        """Seconds, one for each run."""
        timed = [Form({"seconds": text}, self.called) for text in self.seconds]
        return [one.read("seconds", lambda text: read_quantity(text, SECONDS)) for one in timed]


def output(form: Form) -> Result:
    """Litres a hectare, in whichever way enough was given for, and nothing besides."""
    given = {*form.typed, *(["seconds"] if form.seconds else [])}
    if given == {"litres", "area"}:
        return output_from_area(form.number("litres"), form.number("area"))
    if given == {"flow", "seconds", "area"}:
        return output_from_time(form.number("flow"), form.times, form.number("area"))
    if given == {"flow", "speed", "swath"}:
        return output_from_speed(form.number("flow"), form.number("speed"), form.number("swath"))
    if given == {"flow", "course", "seconds", "swath"}:
        speed = speed_over(form.number("course"), form.times)
        return output_from_speed(form.number("flow"), speed, form.number("swath"))
    raise MixError(
        "the output is measured from --litres and --area, or --flow, --seconds and --area, or --flow, --swath and "
        "--speed (or --course and --seconds); give one of these sets, whole and alone"
    )


def tank(form: Form) -> Result:
    """Product in each tank, the area that a tank covers, and the fills for an area."""
    return plan_tank(form.number("tank"), form.number("output"), form.read("rate", read_rate), form.area)


def spot(form: Form) -> Result:
    """Product for an amount of water."""
    return mix_spot(form.number("volume"), form.read("rate", read_rate))


def granule(form: Form) -> Result:
    """Granules for an area, and the active in them."""
    share = None
    if "active" in form:
        share = form.read("active", lambda text: read_quantity(text.strip().removesuffix("%"), MEASURES["percent"]))
    return spread(form.read("rate", read_rate), form.area, share)


def nitrogen(form: Form) -> Result:
    """Nutrients in a rate of fertiliser, or the product for a wanted dose of nitrogen."""
    bag = form.read("analysis", lambda text: read_analysis(text, "elements" in form.flags))
    liquid = "liquid" in form.flags
    if "rate" in form and liquid:
        raise MixError("--liquid goes with --want; with --rate, a volume for an area says that it is a liquid")
    if ("rate" in form) == ("want" in form):
        raise MixError("give either --rate from the label in hand, or --want in grams of nitrogen on 100 m2")
    if "rate" in form:
        return feed(bag, form.read("rate", read_rate), form.area)
    return feed_for(bag, form.number("want"), form.area, liquid)


def strip(form: Form) -> Result:
    """How long a strip of one pass is that covers a test area."""
    return strip_length(form.number("area"), form.number("swath"))


def strength(form: Form) -> Result:
    """Product that carries a rate of active, or the active in a rate of product."""
    power = form.read("strength", read_strength)
    if ("active" in form) == ("product" in form):
        raise MixError("give either --active or --product, a rate for an area from the label in hand")
    if "active" in form:
        return product_for(form.read("active", read_rate), power, form.area)
    return active_in(form.read("product", read_rate), power, form.area)


SUMS: dict[str, Callable[[Form], Result]] = {
    "output": output,
    "tank": tank,
    "spot": spot,
    "granule": granule,
    "nitrogen": nitrogen,
    "strip": strip,
    "strength": strength,
}


def area_of(shapes: Sequence[tuple[str, str]]) -> Result:
    """The area of shapes, each a form (``less-`` before it takes the shape away) and its sizes."""
    found = []
    for name, sizes in shapes:
        outline = name.removeprefix("less-")
        reader = partial(read_shape, outline, less=outline != name)
        found.append(Form({name: sizes}, called_as_option).read(name, reader))
    return measure_area(found)


def called_as_option(name: str, text: str) -> str:
    """A field as the command line has it."""
    return f"--{name} {text!r}"


def notes_on(result: Result, *typed: str) -> list[str]:
    """What to know beside a result: its doubts, and what was understood of units that mean two things."""
    return [doubt.text for doubt in (*result.doubts, *remarks(*typed))]
