"""The commands `advise` and `year`: what to do about a weed, and its year."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import Annotated

import typer

from app.commands.json_output import print_json
from model.errors import AnswerError

Weeds = Annotated[list[str], typer.Argument(metavar="SPECIES...", help="The weed, or all that it may still be.")]
Near = Annotated[
    list[str] | None,
    typer.Option("--near", help="edibles, pond, pets, bees, grazing or children; repeat it for several."),
]
Used = Annotated[
    list[str] | None, typer.Option("--used", metavar="GROUP", help="Mode of action group used here before; repeatable.")
]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]


def advise(
    species: Weeds,
    month: Annotated[int, typer.Option(min=1, max=12, help="Month, 1 to 12.")],
    lawn: Annotated[str, typer.Option(help="The lawn grass, or unknown.")] = "unknown",
    cover: Annotated[float | None, typer.Option(metavar="PERCENT", help="Ground covered by the weed.")] = None,
    place: Annotated[str, typer.Option(help="lawn, bed or paving.")] = "lawn",
    stage: Annotated[str | None, typer.Option(help="seedling, young, flowering or seeding.")] = None,
    state: Annotated[str | None, typer.Option(help="Australian state or territory, such as NSW.")] = None,
    used: Used = None,
    near: Near = None,
    cultivar: Annotated[str | None, typer.Option(help="Of a buffalo lawn, where it is known.")] = None,
    exact: Annotated[bool, typer.Option("--exact", help="Refuse a name that several plants have.")] = False,
    as_json: Json = False,
) -> None:
    """Say what to do about a weed on this lawn in this month. Never a rate: that is on the label.

    A name that several plants have, such as oxalis, is taken as a shortlist: what holds for all, and where it parts.
    """
    from app.services.knowledge import load_advice
    from app.services.labels import labels_read
    from model.control import Case, plan
    from model.flora.name import PlantNames

    control = load_advice()
    names = PlantNames(control.flora)
    case = Case(
        species=tuple(dict.fromkeys(one for name in species for one in names.the_plants(name, exact=exact))),
        month=month,
        lawn=as_word(lawn),
        place=as_word(place),  # type: ignore[arg-type]  # checked with the case
        cover=cover,
        stage=as_word(stage) if stage else None,  # type: ignore[arg-type]
        state=state.strip().upper() if state else None,
        near=tuple(dict.fromkeys(as_word(n) for n in near or [])),  # type: ignore[misc]
        used=tuple(group_number(g) for g in used or []),
        cultivar=as_word(cultivar) if cultivar else None,
        labels=labels_read(),
    )
    made = plan(control, case)
    if as_json:
        print_json(made.as_json(control))
    else:
        from app.present.plan import print_plan

        print_plan(made, control)


def year(
    species: Weeds,
    figure: Annotated[Path | None, typer.Option(metavar="FILE", help="Draw it to an .svg or .png file.")] = None,
    month: Annotated[int | None, typer.Option(min=1, max=12, help="A month to mark.")] = None,
    as_json: Json = False,
) -> None:
    """Show a weed's year: when it comes up, flowers and seeds, and when to act."""
    from app.figures.picture import check_ending
    from app.figures.year_strip import draw_year, in_words
    from app.services.knowledge import load_advice
    from model.control import year_of
    from model.flora.name import PlantNames

    if figure is not None:
        check_ending(figure)
    control = load_advice()
    names = dict.fromkeys(PlantNames(control.flora).the_species(name) for name in species)
    years = [year_of(control, name) for name in names]
    if figure is not None:
        draw_year(control, years, figure, month)
    if as_json:
        print_json({"years": [one.as_json() for one in years]})
    else:
        sys.stdout.write(in_words(control, years) + "\n")


def as_word(text: str) -> str:
    """A word as the configs spell it, however a person typed it."""
    return text.strip().casefold().replace(" ", "_").replace("-", "_")


def group_number(text: str) -> int:
    """A mode of action group as people write it. Raises AnswerError where it is no number."""
    found = re.fullmatch(r"(?:group\s*)?(\d{1,2})", text.strip(), re.IGNORECASE)
    if found is None:
        raise AnswerError(f"--used {text!r} is not a group number; give the number on the label, such as 4")
    return int(found.group(1))
