"""``swardkey mix``: the sums of spraying, spreading and feeding, with the working, for checking."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any

import typer

from app.commands.json_output import Json, print_json
from app.commands.options import option
from app.commands.plain_help import Commands
from app.commands.terminal import is_interactive, print_lines
from app.services.last_sum import note_sum
from app.services.mixing import SUMS, TITLES, Form, area_of, called_as_option, notes_on
from model.mix.doubt import MixError
from model.mix.result import LABEL_FIRST, Result

mix = Commands(
    help="Do the sums of spraying, spreading and feeding, with the working. A rate is always yours, from the label "
    "in hand. Numbers are metric, or give their unit."
)


RATE = option("AMOUNT/AREA", "From the label in hand: an amount of product for an area, with both units.")
Area = Annotated[str | None, option("M2", "Area in square metres.")]
Sure = Annotated[bool, typer.Option("--sure", help="The numbers are right, even if they look like a mistake.")]


@mix.command()
def output(
    context: typer.Context,
    litres: Annotated[str | None, option("L", "Litres used on --area.")] = None,
    area: Area = None,
    flow: Annotated[str | None, option("L_MIN", "Flow of all nozzles, litres a minute.")] = None,
    speed: Annotated[str | None, option("KM_H", "Speed, kilometres an hour.")] = None,
    swath: Annotated[str | None, option("M", "Width of one pass, metres; of a boomless nozzle, its pattern.")] = None,
    seconds: Annotated[
        list[str] | None, option("S", "Time for --area or --course; repeat it and the mean counts.")
    ] = None,
    course: Annotated[str | None, option("M", "Metres walked in --seconds, instead of --speed.")] = None,
    as_json: Json = False,
    sure: Sure = False,
) -> None:
    """Measure how many litres go on a hectare.

    Give --litres and --area; or --flow, --seconds and --area; or --flow, --swath and --speed (or --course, --seconds).

    Examples:
        swardkey mix output --litres 2 --area 100
    """
    work_out(context)


@mix.command()
def tank(
    context: typer.Context,
    tank: Annotated[str, option("L", "Litres of spray that the tank holds, or that you mix.")],
    output: Annotated[str, option("L_HA", "Litres a hectare, as you measured them (mix output).")],
    rate: Annotated[str, RATE],
    area: Area = None,
    as_json: Json = False,
    sure: Sure = False,
) -> None:
    """Product in each tank, the area that a tank covers, and the fills for an area.

    Examples:
        swardkey mix tank --tank 10 --output 200 --rate "AMOUNT/ha" --area 120
    """
    work_out(context)


@mix.command()
def spot(
    context: typer.Context,
    volume: Annotated[str, option("L", "Litres of WATER, to which the product is added.")],
    rate: Annotated[
        str, option("AMOUNT/LITRES", "From the label in hand: product for water, with both units; a ratio or %.")
    ],
    as_json: Json = False,
    sure: Sure = False,
) -> None:
    """Product for an amount of water. A ratio 1:PARTS is one part added to so many parts of water.

    Examples:
        swardkey mix spot --volume 5 --rate "AMOUNT/L"
    """
    work_out(context)


@mix.command()
def granule(
    context: typer.Context,
    rate: Annotated[str, RATE],
    area: Area = None,
    active: Annotated[str | None, option("PERCENT", "Per cent of active in the product.")] = None,
    as_json: Json = False,
    sure: Sure = False,
) -> None:
    """Granules for an area, and the active in them."""
    work_out(context)


@mix.command()
def nitrogen(
    context: typer.Context,
    analysis: Annotated[str, option("N-P-K", "The three percentages on the bag.")],
    rate: Annotated[str | None, RATE] = None,
    want: Annotated[
        str | None, option("G_PER_100M2", "Grams of nitrogen wanted on 100 square metres, instead of --rate.")
    ] = None,
    area: Area = None,
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
    work_out(context)


@mix.command()
def strip(
    context: typer.Context,
    area: Annotated[str, option("M2", "Square metres that the test is to cover.")],
    swath: Annotated[str, option("M", "Width of one pass, metres.")],
    as_json: Json = False,
    sure: Sure = False,
) -> None:
    """How long a strip of one pass is that covers a test area."""
    work_out(context)


@mix.command()
def strength(
    context: typer.Context,
    strength: Annotated[str, option("ACTIVE/PRODUCT", "From the label: g/L, g/kg or %.")],
    active: Annotated[str | None, option("AMOUNT/AREA", "A rate of active, from the label in hand.")] = None,
    product: Annotated[str | None, option("AMOUNT/AREA", "A rate of product, from the label in hand, instead.")] = None,
    area: Area = None,
    as_json: Json = False,
    sure: Sure = False,
) -> None:
    """Product that carries a rate of active, or the active in a rate of product."""
    work_out(context)


Shapes = list[str] | None


def sizes(metavar: str, less: bool = False) -> Any:
    """An option for a shape by its sizes, named like its parameter, which may be repeated."""
    return typer.Option(metavar=metavar, help="To take away; repeatable." if less else "To add; repeatable.")


@mix.command()
def area(
    context: typer.Context,
    rectangle: Annotated[Shapes, sizes("LENGTHxWIDTH")] = None,
    triangle: Annotated[Shapes, sizes("BASExHEIGHT")] = None,
    sides: Annotated[Shapes, sizes("AxBxC")] = None,
    circle: Annotated[Shapes, sizes("DIAMETER")] = None,
    ellipse: Annotated[Shapes, sizes("LENGTHxWIDTH")] = None,
    trapezium: Annotated[Shapes, sizes("SIDExSIDExDISTANCE")] = None,
    ring: Annotated[Shapes, sizes("OUTERxINNER")] = None,
    less_rectangle: Annotated[Shapes, sizes("LENGTHxWIDTH", less=True)] = None,
    less_triangle: Annotated[Shapes, sizes("BASExHEIGHT", less=True)] = None,
    less_sides: Annotated[Shapes, sizes("AxBxC", less=True)] = None,
    less_circle: Annotated[Shapes, sizes("DIAMETER", less=True)] = None,
    less_ellipse: Annotated[Shapes, sizes("LENGTHxWIDTH", less=True)] = None,
    less_trapezium: Annotated[Shapes, sizes("SIDExSIDExDISTANCE", less=True)] = None,
    less_ring: Annotated[Shapes, sizes("OUTERxINNER", less=True)] = None,
    as_json: Json = False,
    sure: Sure = False,
) -> None:
    """Area from shapes in metres (a unit after the last number is fine too); --less-... takes a bed away.

    Examples:
        swardkey mix area --rectangle 12x8 --circle 3 --less-rectangle 2x4
    """
    shapes = [
        (name.replace("_", "-"), text)
        for name, texts in context.params.items()
        if isinstance(texts, list | tuple)
        for text in texts
    ]
    finish("Area", area_of(shapes), [], context.params)


def work_out(context: typer.Context) -> None:
    """Do the sum that the command is named after, from its options, and print it."""
    typed = {name: value for name, value in context.params.items() if isinstance(value, str)}
    flags = frozenset(name for name, value in context.params.items() if value is True)
    form = Form(typed, called_as_option, context.params.get("seconds") or (), flags)
    name = str(context.info_name)
    finish(TITLES[name], SUMS[name](form), [*typed.values(), *form.seconds], context.params)


def finish(title: str, result: Result, typed: Sequence[str], options: dict[str, Any]) -> None:
    """Settle the doubts with the person, then print one JSON object, or the figures and their working."""
    as_json = bool(options["as_json"])
    asked = [doubt.text for doubt in result.doubts if doubt.asks and not options["sure"]]
    if asked and (as_json or not is_interactive()):
        raise MixError(f"{'; and '.join(asked)}; if that is right, add --sure")
    for text in asked:
        if not typer.confirm(f"{text[0].upper()}{text[1:]}. Is it right?", err=True):
            raise MixError("nothing was worked out; give the numbers again")
    notes = notes_on(result, *typed)
    note_sum(title, result)
    if as_json:
        print_json(result.as_json() | {"doubts": notes})
        return
    width = max(len(what) for what, _ in result.rows)
    print_lines(*(f"{what:<{width}}  {figure}" for what, figure in result.rows), style="bold")
    print_lines(*(f"  {line}" for line in result.working), style="dim")
    print_lines(*(f"Note: {note}." for note in notes), LABEL_FIRST)
