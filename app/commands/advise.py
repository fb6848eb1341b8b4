"""The commands `advise` and `year`: what to do about a weed, and its year."""

from __future__ import annotations

from datetime import date
from typing import Annotated

import typer

from app.commands.json_output import Json, answer
from app.commands.options import AnyMonth, Cover, Cultivar, Figure, Lawn, Near, Place, Stage, State, Used
from app.figures.picture import check_ending
from app.figures.year_strip import draw_year, in_words
from app.present.plan import print_plan
from app.services.advice import advise as advise_on
from app.services.advice import years_of

Weeds = Annotated[list[str], typer.Argument(metavar="SPECIES...", help="The weed, or every weed it could still be.")]


def advise(
    species: Weeds,
    month: AnyMonth = None,
    lawn: Lawn = "unknown",
    cover: Cover = None,
    place: Place = "lawn",
    stage: Stage = None,
    state: State = None,
    used: Used = None,
    near: Near = None,
    cultivar: Cultivar = None,
    exact: Annotated[bool, typer.Option("--exact", help="Refuse a name that several plants have.")] = False,
    as_json: Json = False,
) -> None:
    """Say what to do about a weed on this lawn in this month, or in --month. Never a rate: that is on the label.

    A name that several plants have, such as oxalis, is a shortlist: what holds for all, and where they differ.
    """
    plan, control = advise_on(
        species, month or date.today().month, exact=exact, near=near or (), used=used or (), lawn=lawn, place=place,
        cover=cover, stage=stage, state=state, cultivar=cultivar,
    )  # fmt: skip
    answer(as_json, plan.as_json(control), lambda: print_plan(plan, control))


def year(species: Weeds, figure: Figure = None, month: AnyMonth = None, as_json: Json = False) -> None:
    """Show a weed's year: when it germinates, flowers and seeds, and when to act. --month marks a month."""
    if figure is not None:
        check_ending(figure)
    years, control = years_of(species)
    if figure is not None:
        draw_year(control, years, figure, month)
    answer(as_json, {"years": [one.as_json() for one in years]}, in_words(control, years))
