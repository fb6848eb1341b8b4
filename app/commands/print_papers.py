"""The commands of `swardkey print`: the papers of the job as files."""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from app.commands.json_output import print_json
from model.errors import AnswerError, nearest

if TYPE_CHECKING:
    from app.present.naming import Naming
    from app.records import Records, VisitRecord
    from model.control import Control, Plan
    from model.control.facts import Near
    from model.identify import Key

papers = typer.Typer(no_args_is_help=True, help="Make the papers of the job: PDF, CSV, calendar, Darwin Core.")
Out = Annotated[Path, typer.Option("--out", metavar="FILE", help="Where to.")]
Visit = Annotated[int | None, typer.Option(min=1, metavar="NUMBER", help="A visit of the records.")]
SiteNumber = Annotated[int | None, typer.Option(min=1, metavar="NUMBER", help="Only this site of the records.")]
Maker = Annotated[str, typer.Option("--maker", metavar="NAME", help="Who hands the paper out, for its foot.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]
Place = Annotated[str | None, typer.Option(help="lawn, bed or paving; of a visit, as given there, else lawn.")]
Cover = Annotated[float | None, typer.Option(metavar="PERCENT", help="Ground covered by the weed.")]


@papers.command()
def advice(
    out: Out,
    species: Annotated[
        list[str] | None, typer.Argument(metavar="SPECIES...", help="The weed, without a visit.")
    ] = None,
    visit: Visit = None,
    answers: Annotated[Path | None, typer.Option(metavar="FILE", help="YAML file of answers.")] = None,
    month: Annotated[int | None, typer.Option(min=1, max=12, help="Month, 1 to 12.")] = None,
    lawn: Annotated[str, typer.Option(help="The lawn grass, or unknown.")] = "unknown",
    place: Place = None,
    cover: Cover = None,
    stage: Annotated[str | None, typer.Option(help="seedling, young, flowering or seeding.")] = None,
    cultivar: Annotated[str | None, typer.Option(help="Of a buffalo lawn, where it is known.")] = None,
    state: Annotated[str | None, typer.Option(help="Australian state or territory, such as NSW.")] = None,
    near: Annotated[list[str] | None, typer.Option("--near", help="What is near; repeatable.")] = None,
    client: Annotated[str, typer.Option(help="Whom it is for.")] = "",
    maker: Maker = "",
    as_json: Json = False,
) -> None:
    """The advice sheet for the homeowner, of a visit (--visit) or of a weed that is named. Never a rate."""
    from app.commands.advise import as_word
    from app.papers.advice_sheet import AdviceSheet, advice_paper
    from app.papers.paper_file import check_place
    from app.services.labels import labels_read
    from model.control import Case, plan

    check_place(out, "--out", (".pdf",))
    if visit is None and not species and answers is None:
        raise AnswerError("no weed was named; give its name, a file of answers (--answers) or a visit (--visit)")
    if visit is None and month is None:
        raise AnswerError("--month was not given; give the month of the advice, or a visit with --visit")
    key, control = _known()
    if visit is not None:
        record, naming, made = _of_visit(visit, key, control, place, cover)
        who, where, day = record.client.name, record.site.address, _day(record)
        sheet = AdviceSheet(naming, made, client or who, where, day, maker)
    else:
        naming, names = _named(species, answers, month, key)
        case = Case(
            species=names,
            month=month or 0,  # told, see above
            lawn=as_word(lawn),
            place=as_word(place or "lawn"),  # type: ignore[arg-type]  # checked with the case
            cover=cover,
            state=state.strip().upper() if state else None,
            near=cast("tuple[Near, ...]", tuple(dict.fromkeys(as_word(n) for n in near or []))),
            stage=as_word(stage) if stage else None,  # type: ignore[arg-type]
            cultivar=as_word(cultivar) if cultivar else None,
            labels=labels_read(),
        )
        sheet = AdviceSheet(naming, plan(control, case), client, "", "", maker)
    _write(out, (".pdf",), lambda: advice_paper(sheet, key, control), as_json)


@papers.command()
def job(
    out: Out,
    visit: Annotated[int, typer.Option(min=1, metavar="NUMBER", help="A visit of the records.")],
    do: Annotated[list[str] | None, typer.Option("--do", metavar="METHOD", help="What was chosen; repeatable.")] = None,
    sums: Annotated[list[str] | None, typer.Option("--sum", metavar="TEXT", help="A sum as you did it.")] = None,
    place: Place = None,
    cover: Cover = None,
    maker: Maker = "",
    as_json: Json = False,
) -> None:
    """The job sheet of a visit: where, what, how, in which weather, with space to write."""
    from app.papers.job_sheet import JobSheet, job_paper
    from app.papers.paper_file import check_place
    from app.present.block import Paragraph
    from app.services.visit_papers import decided_option
    from model.control.facts import FORMER_METHODS
    from model.spray import load_rules

    check_place(out, "--out", (".pdf",))
    key, control = _known()
    record, naming, made = _of_visit(visit, key, control, place, cover)
    given = (method.strip().casefold().replace("-", "_") for method in do or [])
    methods = tuple(FORMER_METHODS.get(method, method) for method in given)
    for method in methods:
        if method not in control.methods.methods:
            raise AnswerError(f"--do {method}: no such method is known; {nearest(method, control.methods.methods)}")
    sheet = JobSheet(
        naming, made, record.site, record.client, _day(record), maker, methods,  # type: ignore[arg-type]
        tuple(Paragraph((text,), "strong") for text in sums or []),
        options=() if methods else decided_option(record, made),
    )  # fmt: skip
    _write(out, (".pdf",), lambda: job_paper(sheet, key, control, load_rules()), as_json)


@papers.command()
def record(
    treatment: Annotated[int, typer.Argument(metavar="NUMBER", min=1, help="A treatment of the records.")],
    out: Out,
    maker: Maker = "",
    as_json: Json = False,
) -> None:
    """The spray record of a treatment: all fields that any state asks for, signatures and amendments."""
    from app.papers.record_sheet import paper_of_treatment

    _from_records(out, (".pdf",), lambda book: paper_of_treatment(book, treatment, maker), as_json)


@papers.command()
def calendar(out: Out, site: SiteNumber = None, as_json: Json = False) -> None:
    """The open follow-ups as a calendar file (.ics)."""
    from app.papers.follow_ups import calendar_file
    from app.records import open_records

    with open_records() as book:
        due, sites = book.follow_ups(site), {one.id: one for one in book.sites()}
    _write(out, (".ics",), lambda: calendar_file(due, sites, datetime.now(UTC)), as_json, follow_ups=len(due))


@papers.command()
def csv(
    what: Annotated[str, typer.Argument(metavar="TABLE", help="treatments or findings.")],
    out: Out,
    site: SiteNumber = None,
    as_json: Json = False,
) -> None:
    """Treatments or findings as CSV for a spreadsheet."""
    from app.papers.csv_table import findings_csv, treatments_csv
    from app.services.visit_papers import all_visits

    _one_of("TABLE", what, ("treatments", "findings"))
    make: Callable[[Records], bytes] = (
        (lambda book: treatments_csv(book.treatments(site)))
        if what == "treatments"
        else (lambda book: findings_csv(all_visits(book, site)))
    )
    _from_records(out, (".csv",), make, as_json)


@papers.command()
def findings(
    out: Out,
    licence: Annotated[str, typer.Option(help="CC0, CC BY or CC BY-NC: under which you give them away.")],
    by: Annotated[str, typer.Option("--by", metavar="NAME", help="The publisher that portals will name.")],
    decimals: Annotated[
        int | None, typer.Option(metavar="N", help="Places too, rounded to N decimals of a degree (0 to 3).")
    ] = None,
    names: Annotated[bool, typer.Option("--names", help="Include who saw and who named the plants.")] = False,
    site: SiteNumber = None,
    as_json: Json = False,
) -> None:
    """Confirmed findings in Darwin Core for open portals: a table (.csv) or an archive (.zip). No places unasked."""
    from app.papers.darwin_core import Sharing, archive, check_sharing, occurrence_csv
    from app.records import open_records
    from app.services.visit_papers import all_visits
    from training.collection.licence import kind_of, licence_of

    with open_records() as book:
        dataset = book.dataset()
    sharing = check_sharing(Sharing(by, kind_of(licence_of(licence)) or licence, dataset, decimals, names))
    key, _ = _known()
    make: Callable[[Records], bytes] = (
        (lambda book: archive(all_visits(book, site), key.flora, sharing, datetime.now(UTC).date()))
        if out.suffix.lower() == ".zip"
        else (lambda book: occurrence_csv(all_visits(book, site), key.flora, sharing))
    )
    _from_records(out, (".csv", ".zip"), make, as_json)


def _known() -> tuple[Key, Control]:
    from app.services.knowledge import load_advice, load_key

    return load_key(), load_advice()


def _of_visit(
    visit: int, key: Key, control: Control, place: str | None, cover: float | None
) -> tuple[VisitRecord, Naming, Plan]:
    """A visit, how its weed was named, and the plan for it."""
    from app.commands.advise import as_word
    from app.records import open_records
    from app.services.visit_papers import naming_of, plan_of, visit_record

    with open_records() as book:
        record = visit_record(book, visit)
        naming = naming_of(record, key)
        told = as_word(place) if place else None
        return record, naming, plan_of(book, record, naming, control, place=told, cover=cover)


def _named(
    species: list[str] | None, answers: Path | None, month: int | None, key: Key
) -> tuple[Naming, tuple[str, ...]]:
    """How a weed is named without a visit: by its name, by answers, or by both."""
    from app.present.finding import LEAST_NAMED
    from app.present.naming import Naming
    from model.flora.name import PlantNames
    from model.identify import identify
    from model.prior import region_named
    from model.traits import read_answers

    known = PlantNames(key.flora)
    names = tuple(dict.fromkeys(one for name in species or [] for one in known.the_plants(name)))
    if answers is None:
        return Naming(names[0]), names
    given, visible = read_answers(answers, key.flora.characters)
    finding = identify(key, given, None, month, region_named(key.prior_config, None), visible)
    found = Naming.of(finding, given)
    if found.status == "undecided" and finding.candidates[0].probability < LEAST_NAMED:
        raise AnswerError(f"{answers}: puts no plant in front yet; answer more, or name the weed without --answers")
    if found.status == "unlisted":
        raise AnswerError(f"{answers}: no plant on file explains these answers; have a sample looked at first")
    if names and found.species not in names:
        front = key.flora.species[found.species].common_name
        raise AnswerError(f"{answers}: the answers put {front} in front, not what was named; look at the plant again")
    return found, names or (found.species, *found.also)


def _day(record: VisitRecord) -> str:
    from app.present.finding import day_text

    return day_text(record.visit.day)


def _one_of(what: str, word: str, known: tuple[str, ...]) -> None:
    if word not in known:
        raise AnswerError(f"{what} {word}: not known; {nearest(word, known)}")


def _from_records(out: Path, endings: tuple[str, ...], make: Callable[[Records], bytes], as_json: bool) -> None:
    from app.records import open_records

    with open_records() as book:
        _write(out, endings, lambda: make(book), as_json)


def _write(out: Path, endings: tuple[str, ...], make: Callable[[], bytes], as_json: bool, **more: object) -> None:
    from app.papers.paper_file import write_paper

    write_paper(out, "--out", endings, make)
    if as_json:
        print_json({"file": str(out), "bytes": out.stat().st_size, **more})
    else:
        sys.stdout.write(f"{out}\n")
