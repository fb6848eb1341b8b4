"""``swardkey mix``: the sums of spraying, spreading and feeding, with the working, for checking."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Annotated, TypeVar

import typer

from app.commands.confirm_sum import finish
from model.mix.area import measure_area, read_shape
from model.mix.doubt import MixError
from model.mix.fertiliser import feed, feed_for, read_analysis
from model.mix.output import (
    output_from_area,
    output_from_speed,
    output_from_time,
    speed_over,
    strip_length,
)
from model.mix.rate import read_rate
from model.mix.result import Result
from model.mix.strength import active_in, product_for, read_strength, spread
from model.mix.tank import mix_spot, plan_tank
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
    read_quantity,
)

mix = typer.Typer(
    no_args_is_help=True,
    help="Do the sums of spraying, spreading and feeding. A rate is always yours, from the label in hand. "
    "Numbers are metric, or name their unit.",
)

Given = TypeVar("Given")


def option(name: str, metavar: str, told: str) -> typer.models.OptionInfo:
    """An option that takes text, because an amount may name its unit."""
    made: typer.models.OptionInfo = typer.Option(name, metavar=metavar, help=told)
    return made


RATE_HELP = "From the label in hand: an amount of product for an area, with both units."
RateText = Annotated[str, option("--rate", "AMOUNT/AREA", RATE_HELP)]
AreaText = Annotated[str | None, option("--area", "M2", "Area in square metres.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]
Sure = Annotated[bool, typer.Option("--sure", help="The numbers are right, even if they look like a slip.")]


@mix.command()
def output(
    litres: Annotated[str | None, option("--litres", "L", "Litres used on --area.")] = None,
    area: AreaText = None,
    flow: Annotated[str | None, option("--flow", "L_MIN", "Flow of all nozzles, litres a minute.")] = None,
    speed: Annotated[str | None, option("--speed", "KM_H", "Speed, kilometres an hour.")] = None,
    swath: Annotated[
        str | None, option("--swath", "M", "Width of one pass, metres; of a boomless nozzle, its pattern.")
    ] = None,
    seconds: Annotated[
        list[str] | None, option("--seconds", "S", "Time for --area or --course; repeat it and the mean counts.")
    ] = None,
    course: Annotated[str | None, option("--course", "M", "Metres walked in --seconds, instead of --speed.")] = None,
    as_json: Json = False,
    sure: Sure = False,
) -> None:
    """Measure how many litres go on a hectare.

    Give --litres and --area; or --flow, --seconds and --area; or --flow, --swath and --speed (or --course, --seconds).
    """
    texts = {"litres": litres, "area": area, "flow": flow, "speed": speed, "swath": swath, "course": course}
    given = {name for name, text in texts.items() if text is not None} | ({"seconds"} if seconds else set())
    numbers = {name: number(f"--{name}", text, MEASURES[name]) for name, text in texts.items() if text is not None}
    times = [number("--seconds", text, SECONDS) for text in seconds or []]
    found = measured_output(given, numbers, times)
    finish(found, [*texts.values(), *(seconds or [])], as_json, sure)


MEASURES = {
    "litres": LITRES,
    "area": SQUARE_METRES,
    "flow": LITRES_PER_MINUTE,
    "speed": KM_PER_HOUR,
    "swath": METRES,
    "course": METRES,
}


def measured_output(given: set[str], numbers: dict[str, float], times: list[float]) -> Result:
    """The output in whichever way enough was given for, and nothing besides."""
    if given == {"litres", "area"}:
        return output_from_area(numbers["litres"], numbers["area"])
    if given == {"flow", "seconds", "area"}:
        return output_from_time(numbers["flow"], times, numbers["area"])
    if given == {"flow", "speed", "swath"}:
        return output_from_speed(numbers["flow"], numbers["speed"], numbers["swath"])
    if given == {"flow", "course", "seconds", "swath"}:
        return output_from_speed(numbers["flow"], speed_over(numbers["course"], times), numbers["swath"])
    raise MixError(
        "the output is measured from --litres and --area, or --flow, --seconds and --area, or --flow, --swath and "
        "--speed (or --course and --seconds); give one of these sets, whole and alone"
    )


@mix.command()
def tank(
    tank: Annotated[str, option("--tank", "L", "Litres of spray that the tank takes, or that you mix.")],
    output: Annotated[str, option("--output", "L_HA", "Litres a hectare, as you measured them (mix output).")],
    rate: RateText,
    area: AreaText = None,
    as_json: Json = False,
    sure: Sure = False,
) -> None:
    """Product in each tank, the area that a tank covers, and the fills for an area."""
    found = plan_tank(
        number("--tank", tank, LITRES),
        number("--output", output, LITRES_PER_HECTARE),
        read("--rate", rate, read_rate),
        None if area is None else number("--area", area, SQUARE_METRES),
    )
    finish(found, [tank, output, rate, area], as_json, sure)


@mix.command()
def spot(
    volume: Annotated[str, option("--volume", "L", "Litres of WATER, to which the product is added.")],
    rate: Annotated[
        str,
        option("--rate", "AMOUNT/LITRES", "From the label in hand: product for water, with both units; a ratio or %."),
    ],
    as_json: Json = False,
    sure: Sure = False,
) -> None:
    """Product for an amount of water. A ratio 1:PARTS is one part added to so many parts of water."""
    found = mix_spot(number("--volume", volume, LITRES), read("--rate", rate, read_rate))
    finish(found, [volume, rate], as_json, sure)


@mix.command()
def granule(
    rate: RateText,
    area: AreaText = None,
    active: Annotated[str | None, option("--active", "PERCENT", "Per cent of active in the product.")] = None,
    as_json: Json = False,
    sure: Sure = False,
) -> None:
    """Granules for an area, and the active in them."""
    share = None if active is None else read("--active", active, percentage)
    square_metres = None if area is None else number("--area", area, SQUARE_METRES)
    finish(spread(read("--rate", rate, read_rate), square_metres, share), [rate, area], as_json, sure)


@mix.command()
def nitrogen(
    analysis: Annotated[str, option("--analysis", "N-P-K", "The three percentages on the bag.")],
    rate: Annotated[str | None, option("--rate", "AMOUNT/AREA", RATE_HELP)] = None,
    want: Annotated[
        str | None, option("--want", "G_PER_100M2", "Grams of nitrogen wanted on 100 square metres, instead of --rate.")
    ] = None,
    area: AreaText = None,
    liquid: Annotated[
        bool, typer.Option("--liquid", help="With --want: the analysis is weight by volume, the product a liquid.")
    ] = False,
    elements: Annotated[
        bool, typer.Option("--elements", help="The bag gives P and K themselves, not P2O5 and K2O.")
    ] = False,
    as_json: Json = False,
    sure: Sure = False,
) -> None:
    """Nitrogen, phosphorus and potassium in a rate of fertiliser, or the product for a wanted dose of nitrogen."""
    bag = read("--analysis", analysis, lambda text: read_analysis(text, elements))
    square_metres = None if area is None else number("--area", area, SQUARE_METRES)
    if rate is not None and want is None and not liquid:
        found = feed(bag, read("--rate", rate, read_rate), square_metres)
    elif want is not None and rate is None:
        found = feed_for(bag, number("--want", want, GRAMS_PER_100M2), square_metres, liquid)
    elif liquid and rate is not None:
        raise MixError("--liquid goes with --want; with --rate, a volume for an area says that it is a liquid")
    else:
        raise MixError("give either --rate from the label in hand, or --want in grams of nitrogen on 100 m2")
    finish(found, [rate, want, area], as_json, sure)


@mix.command()
def strip(
    area: Annotated[str, option("--area", "M2", "Square metres that the test is to cover.")],
    swath: Annotated[str, option("--swath", "M", "Width of one pass, metres.")],
    as_json: Json = False,
    sure: Sure = False,
) -> None:
    """How long a strip of one pass is that covers a test area."""
    found = strip_length(number("--area", area, SQUARE_METRES), number("--swath", swath, METRES))
    finish(found, [area, swath], as_json, sure)


@mix.command()
def strength(
    strength: Annotated[str, option("--strength", "ACTIVE/PRODUCT", "From the label: g/L, g/kg or %.")],
    active: Annotated[
        str | None, option("--active", "AMOUNT/AREA", "A rate of active, from the label in hand.")
    ] = None,
    product: Annotated[
        str | None, option("--product", "AMOUNT/AREA", "A rate of product, from the label in hand, instead.")
    ] = None,
    area: AreaText = None,
    as_json: Json = False,
    sure: Sure = False,
) -> None:
    """Product that carries a rate of active, or the active in a rate of product."""
    power = read("--strength", strength, read_strength)
    square_metres = None if area is None else number("--area", area, SQUARE_METRES)
    if active is not None and product is None:
        found = product_for(read("--active", active, read_rate), power, square_metres)
    elif product is not None and active is None:
        found = active_in(read("--product", product, read_rate), power, square_metres)
    else:
        raise MixError("give either --active or --product, a rate for an area from the label in hand")
    finish(found, [strength, active, product, area], as_json, sure)


def shape(name: str, sizes: str) -> typer.models.OptionInfo:
    """An option for a shape, and so many of them as there are."""
    told = "Repeat it for more." if name == "rectangle" else None
    made: typer.models.OptionInfo = typer.Option(f"--{name}", metavar=sizes, help=told)
    return made


Shapes = list[str] | None


@mix.command()
def area(
    rectangle: Annotated[Shapes, shape("rectangle", "LENGTHxWIDTH")] = None,
    triangle: Annotated[Shapes, shape("triangle", "BASExHEIGHT")] = None,
    sides: Annotated[Shapes, shape("sides", "AxBxC")] = None,
    circle: Annotated[Shapes, shape("circle", "DIAMETER")] = None,
    ellipse: Annotated[Shapes, shape("ellipse", "LENGTHxWIDTH")] = None,
    trapezium: Annotated[Shapes, shape("trapezium", "SIDExSIDExDISTANCE")] = None,
    ring: Annotated[Shapes, shape("ring", "OUTERxINNER")] = None,
    less_rectangle: Annotated[Shapes, shape("less-rectangle", "LENGTHxWIDTH")] = None,
    less_triangle: Annotated[Shapes, shape("less-triangle", "BASExHEIGHT")] = None,
    less_sides: Annotated[Shapes, shape("less-sides", "AxBxC")] = None,
    less_circle: Annotated[Shapes, shape("less-circle", "DIAMETER")] = None,
    less_ellipse: Annotated[Shapes, shape("less-ellipse", "LENGTHxWIDTH")] = None,
    less_trapezium: Annotated[Shapes, shape("less-trapezium", "SIDExSIDExDISTANCE")] = None,
    less_ring: Annotated[Shapes, shape("less-ring", "OUTERxINNER")] = None,
    as_json: Json = False,
    sure: Sure = False,
) -> None:
    """Area from shapes in metres (a unit after the last number is fine too); --less-... takes a bed away."""
    given = {
        "rectangle": (rectangle, less_rectangle),
        "triangle": (triangle, less_triangle),
        "sides": (sides, less_sides),
        "circle": (circle, less_circle),
        "ellipse": (ellipse, less_ellipse),
        "trapezium": (trapezium, less_trapezium),
        "ring": (ring, less_ring),
    }
    shapes = [
        read(f"--{'less-' if less else ''}{form}", text, partial(read_shape, form, less=less))
        for less in (False, True)
        for form, both in given.items()
        for text in both[less] or []
    ]
    found = measure_area(shapes)
    finish(found, [], as_json, sure)


def read(name: str, text: str, reader: Callable[[str], Given]) -> Given:
    """What an option holds. An error says which option, and what was typed."""
    try:
        return reader(text)
    except MixError as error:
        raise MixError(f"{name} {text!r}: {error}") from None


def number(name: str, text: str, measure: Measure) -> float:
    """An amount in the measure's own unit, always more than 0."""
    return read(name, text, lambda typed: read_quantity(typed, measure))


def percentage(text: str) -> float:
    """A percentage, with or without its sign."""
    return read_quantity(text.strip().removesuffix("%"), PERCENT)


PERCENT = Measure("per cent", "percent")
