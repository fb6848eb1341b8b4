"""Options that several commands share. What is typed reaches a command as the files of facts spell it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import typer

from app.services.choices import PERCENT, as_word, clock_time, date_of, group_number, month_of, number_in, state_of
from model.errors import SwardkeyError


def parsed(read: Callable[[str], Any]) -> Callable[[Any], Any]:
    """A parser for typer, which then names the option in the message. A default is passed on as it is."""

    def parse(value: Any) -> Any:
        try:
            return read(value) if isinstance(value, str) else value
        except SwardkeyError as error:
            raise typer.BadParameter(str(error)) from None

    return parse


def option(metavar: str, help: str, *names: str, **more: Any) -> Any:
    """An option that takes a value; it is named like its parameter where no name is given."""
    return typer.Option(*names, metavar=metavar, help=help, **more)


def word(name: str, metavar: str, help: str) -> Any:
    """An option that takes a word of the configs: case, blanks and hyphens do not matter."""
    return typer.Option(name, metavar=metavar, parser=as_word, help=help)


MONTH = typer.Option("--month", metavar="MONTH", parser=parsed(month_of), help="Month: 1 to 12, or its name.")
CLOCK = parsed(clock_time)
LAWN = word(
    "--lawn",
    "LAWN",
    "The lawn grass: buffalo or a variety of it, couch, kikuyu, zoysia, queensland_blue_couch, tall_fescue, ryegrass; "
    "or unknown.",
)
PLACE = word("--place", "PLACE", "Where the weed grows: lawn, bed or paving.")

AnyMonth = Annotated[int | None, MONTH]
Lawn = Annotated[str, LAWN]
Place = Annotated[str, PLACE]
Stage = Annotated[str | None, word("--stage", "STAGE", "Growth stage: seedling, young, flowering or seeding.")]
Cultivar = Annotated[
    str | None, word("--cultivar", "NAME", "Variety of a buffalo lawn: st, sapphire, palmetto, matilda or other.")
]
Cover = Annotated[
    float | None,
    option("PERCENT", "How much of the ground the weed covers.", "--cover", parser=parsed(number_in(*PERCENT))),
]
State = Annotated[
    str | None,
    typer.Option(
        "--state", metavar="STATE", parser=state_of,
        help="Australian state or territory, such as NSW.",
    ),
]  # fmt: skip
Near = Annotated[
    list[str] | None,
    word("--near", "THING", "What is near: edibles, pond, pets, bees, grazing or children; repeatable."),
]
Used = Annotated[
    list[int] | None,
    typer.Option(
        "--used", metavar="GROUP", parser=parsed(group_number),
        help="Mode of action group of a herbicide used here before, such as 4; repeatable.",
    ),
]  # fmt: skip
Together = Annotated[
    bool, typer.Option("--together", help="All of these weeds grow there: one plan for them together, not a shortlist.")
]
Day = Annotated[
    date | None,
    typer.Option(metavar="DATE", parser=parsed(date_of), help="The day, as 28/11/2026 or 2026-11-28; default today."),
]
Figure = Annotated[Path | None, option("FILE", "Draw it to an .svg or .png file.", "--figure")]
Visit = Annotated[
    int | None,
    typer.Option("--visit", metavar="NUMBER", min=1, help="A visit in the records; the result is saved with it."),
]
CollectionFolder = Annotated[Path | None, option("DIR", "The collection; default your own.", "--collection")]
