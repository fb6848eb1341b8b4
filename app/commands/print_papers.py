"""The commands of `swardkey print`: the papers of the job as files."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Annotated, Literal

import typer

from app.commands.json_output import Json, answer
from app.commands.options import (
    LAWN,
    PLACE,
    AnyMonth,
    Cover,
    Cultivar,
    Near,
    Stage,
    State,
    Together,
    Used,
    option,
    word,
)
from app.commands.plain_help import Commands
from app.commands.terminal import on_interrupt
from app.papers.paper_file import check_place, write_paper
from app.services import paper_making as making
from model.errors import AnswerError

papers = Commands(help="Make the papers of the job: PDF, CSV, calendar, Darwin Core.")
Out = Annotated[Path, option("FILE", "The file to write.", "--out")]
VISIT = typer.Option("--visit", min=1, metavar="NUMBER", help="A visit in the records.")
Site = Annotated[int | None, typer.Option(min=1, metavar="NUMBER", help="Only this site in the records.")]
Maker = Annotated[str, option("NAME", "Who hands it over, for the foot of the page.", "--maker")]
Place = Annotated[str | None, PLACE]


def write(out: Path, make: Callable[[], bytes], as_json: bool, *endings: str, **more: object) -> None:
    """Make a paper and write it, whole or not at all; print where it is."""
    with on_interrupt("no file was written; run the same command again"):
        write_paper(out, "--out", endings, make)
    answer(as_json, {"file": str(out), "bytes": out.stat().st_size, **more}, str(out))


@papers.command()
def advice(
    out: Out,
    species: Annotated[
        list[str] | None,
        typer.Argument(metavar="SPECIES...", help="Without a visit: the weed, or every weed it could be."),
    ] = None,
    visit: Annotated[int | None, VISIT] = None,
    answers: Annotated[Path | None, option("FILE", "Your answers (YAML), by which the weed is named.")] = None,
    month: AnyMonth = None,
    lawn: Annotated[str | None, LAWN] = None,
    place: Place = None,
    cover: Cover = None,
    stage: Stage = None,
    cultivar: Cultivar = None,
    state: State = None,
    used: Used = None,
    near: Near = None,
    together: Together = False,
    client: Annotated[str, option("NAME", "Who it is for.")] = "",
    maker: Maker = "",
    as_json: Json = False,
) -> None:
    """The advice sheet for the homeowner, of a visit (--visit) or of weeds that are named. Never a rate.

    Of a visit, weeds, lawn and the rest are as they were recorded; only --place and --cover may be given anew.

    Examples:
        swardkey print advice --visit 1 --out advice.pdf
        swardkey print advice bindii --lawn buffalo --month july --client "A. Wattle" --out advice.pdf
    """
    check_place(out, "--out", (".pdf",))
    given = {"lawn": lawn, "stage": stage, "state": state, "cultivar": cultivar}
    if visit is not None:
        of_visit: dict[str, object] = {
            "SPECIES": species,
            "--answers": answers,
            "--month": month,
            "--used": used,
            "--near": near,
        }
        of_visit |= {"--together": together or None} | {f"--{name}": value for name, value in given.items()}
        if extra := [name for name, value in of_visit.items() if value is not None]:
            said = f"{' and '.join(extra)} given with --visit, which holds them"
            raise AnswerError(f"{said}; leave them out, or make a new plan with swardkey advise --visit {visit}")
        write(out, lambda: making.advice_of_visit(visit, maker, client, place, cover), as_json, ".pdf")
        return
    if not species and answers is None:
        raise AnswerError("no weed was named; give its name, a file of answers (--answers) or a visit (--visit)")
    month = month or date.today().month
    data = making.advice_on(
        species or (), answers, month, client, maker, together, near=near or (), used=used or (), cover=cover,
        place=place or "lawn", **given,
    )  # fmt: skip
    write(out, lambda: data, as_json, ".pdf")


@papers.command()
def job(
    out: Out,
    visit: Annotated[int, VISIT],
    do: Annotated[
        list[str] | None,
        word(
            "--do",
            "METHOD",
            "What was chosen: leave, cultural, mow, hand, cover, pre_emergent, selective, wipe or non_selective; "
            "repeatable.",
        ),
    ] = None,
    sums: Annotated[list[str] | None, option("TEXT", "A calculation, as you worked it out.", "--sum")] = None,
    last_sum: Annotated[bool, typer.Option("--last-sum", help="With the last sum of swardkey mix.")] = False,
    place: Place = None,
    cover: Cover = None,
    maker: Maker = "",
    as_json: Json = False,
) -> None:
    """The job sheet of a visit: where, what, how, in which weather, with space to write."""
    write(out, lambda: making.job_of_visit(visit, maker, do or (), sums or (), place, cover, last_sum), as_json, ".pdf")


@papers.command()
def client(
    out: Out,
    visit: Annotated[int, VISIT],
    place: Place = None,
    cover: Cover = None,
    maker: Annotated[str | None, option("NAME", "Who hands the paper out; by default who visited.", "--maker")] = None,
    as_json: Json = False,
) -> None:
    """One page for the client: what was found and done, and what to do now."""
    write(out, lambda: making.paper_of_visit("client", visit, maker, place, cover), as_json, ".pdf")


@papers.command()
def record(
    treatment: Annotated[int, typer.Argument(metavar="NUMBER", min=1, help="A treatment in the records.")],
    out: Out,
    maker: Maker = "",
    as_json: Json = False,
) -> None:
    """The spray record of a treatment: what its state asks for, signatures and amendments."""
    write(out, lambda: making.record_of_treatment(treatment, maker), as_json, ".pdf")


@papers.command()
def calendar(out: Out, site: Site = None, as_json: Json = False) -> None:
    """The open follow-ups as a calendar file (.ics)."""
    data, due = making.calendar(site)
    write(out, lambda: data, as_json, ".ics", follow_ups=due)


@papers.command()
def csv(
    what: Annotated[Literal["treatments", "findings"], typer.Argument(metavar="TABLE", help="Which table.")],
    out: Out,
    site: Site = None,
    as_json: Json = False,
) -> None:
    """Treatments or findings as CSV for a spreadsheet."""
    write(out, lambda: making.table(what, site), as_json, ".csv")


@papers.command()
def findings(
    out: Out,
    licence: Annotated[str, typer.Option(help="CC0, CC BY or CC BY-NC: the licence you share them under.")],
    by: Annotated[str, option("NAME", "The publisher that portals will name.")],
    decimals: Annotated[int | None, option("N", "Include locations, to N decimals of a degree (0-3).")] = None,
    names: Annotated[bool, typer.Option("--names", help="Include who found and who identified the plants.")] = False,
    site: Site = None,
    as_json: Json = False,
) -> None:
    """Confirmed findings in Darwin Core for open portals: .csv, or a .zip archive. No locations unless asked."""
    ending = out.suffix.lower()
    write(out, lambda: making.shared_findings(ending, by, licence, decimals, names, site), as_json, ".csv", ".zip")
