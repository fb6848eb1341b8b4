"""The commands `advise` and `year`: what to do about a weed, and its year."""

from __future__ import annotations

from datetime import date
from typing import Annotated

import typer

from app.commands.json_output import Json, answer
from app.commands.options import (
    LAWN,
    PLACE,
    AnyMonth,
    Cover,
    Cultivar,
    Figure,
    Near,
    Stage,
    State,
    Together,
    Used,
    Visit,
)
from app.commands.terminal import print_lines
from app.figures.picture import check_ending
from app.figures.year_strip import draw_year, in_words
from app.present.plan import print_plan
from app.services.advice import advise as advise_on
from app.services.advice import years_of
from model.errors import AnswerError

NAMED = typer.Argument(metavar="SPECIES...", help="The weed, or every weed it could be; with --together, all there.")
Weeds = Annotated[list[str], typer.Argument(metavar="SPECIES...", help="One weed or more.")]


def advise(
    species: Annotated[list[str] | None, NAMED] = None,
    month: AnyMonth = None,
    lawn: Annotated[str | None, LAWN] = None,
    cover: Cover = None,
    place: Annotated[str | None, PLACE] = None,
    stage: Stage = None,
    state: State = None,
    used: Used = None,
    near: Near = None,
    cultivar: Cultivar = None,
    together: Together = False,
    exact: Annotated[bool, typer.Option("--exact", help="Refuse a name that several plants have.")] = False,
    visit: Visit = None,
    as_json: Json = False,
) -> None:
    """Say what to do about a weed on this lawn in this month, or in --month. Never a rate: that is on the label.

    Several names, or one that several plants have, such as oxalis, are a shortlist: the plant is one of these. The plan
    is what suits every one, and how to tell them apart. With --together it is all of these, side by side on one lawn:
    one pass for all of them where there is any, and what is for some only.

    With --visit, the weeds and the lawn are those of a visit in the records, and the plan is saved with it.

    Examples:
        swardkey advise bindii --month july --lawn buffalo --state NSW
        swardkey advise bindii "winter grass" --together --lawn couch
        swardkey advise --visit 1
    """
    if visit is not None:
        from app.services.visit_keeping import plan_for_visit  # only here: few plans are for a visit

        plan, control = plan_for_visit(
            visit, species or (), exact, together, month=month, lawn=lawn, place=place, cover=cover, stage=stage,
            near=tuple(near) if near else None, used=tuple(used) if used else None, state=state, cultivar=cultivar,
        )  # fmt: skip
        answer(as_json, plan.as_json(control), lambda: print_plan(plan, control))
        if not as_json:
            print_lines("", f"The plan is saved with visit {visit}.")
        return
    if not species:
        raise AnswerError("no weed was named; name one, such as bindii, or a visit in the records with --visit")
    plan, control = advise_on(
        species, month or date.today().month, exact=exact, together=together, near=near or (), used=used or (),
        lawn=lawn, place=place or "lawn", cover=cover, stage=stage, state=state, cultivar=cultivar,
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
