"""The job sheet for the contractor: where, what, how, within which weather, and space to write."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from app.papers.pdf import Head
from app.papers.plant_title import by_plant, write_title
from app.papers.sheet import Sheet
from app.papers.to_bring import load_papers, to_bring
from app.papers.visit_paper import PaperVisit
from app.present import plan as plan_words
from app.present.block import Block, Paragraph, Section, Table, ticks
from app.present.naming import Naming, look_again
from app.present.record import READINGS
from app.present.spray import weather_limits
from app.services.visit_papers import decided_option
from model.control import Control, JudgedOption, Plan
from model.control.caution import cautions_for
from model.control.facts import MethodName
from model.identify import Key
from model.mix.result import LABEL_FIRST
from model.spray import load_rules
from model.spray.rules import Rules

if TYPE_CHECKING:
    from app.records import Client, Site

EMPTY_READINGS, LINE = 4, 18.5  # empty rows for the weather, and how high a line to write on is, in points


@dataclass(frozen=True)
class JobSheet:
    """What the sheet is made from.

    ``options``: those of the plan that were decided on; None for all that are suited now. ``sums``: what was worked
    out from what the user typed. ``others``: of further weeds.
    """

    naming: Naming
    plan: Plan
    site: Site | None = None
    client: Client | None = None
    day: str = ""
    maker: str = ""
    sums: tuple[Block, ...] = ()
    options: tuple[JudgedOption, ...] | None = None
    others: tuple[Naming, ...] = ()
    mark: str = ""


def job_paper(job: JobSheet, key: Key, control: Control, rules: Rules) -> bytes:
    """The job sheet as PDF."""
    plan = job.plan
    options = plan.by("yes") if job.options is None else job.options
    sprayed = any(option.actives for option in options)
    where = job.site.address if job.site else ""
    foot = "  \u00b7  ".join(filter(None, ("no rates but those you typed: the label comes first", job.mark)))
    head = Head("Job sheet", where, job.day, job.maker, foot)
    sheet = Sheet(head, control.flora.sources)
    case = plan_words.place_and_month(plan, control)
    namings = (job.naming, *job.others)
    write_title(sheet, plan, namings, key.flora, case)
    first = job.naming if job.others else job.naming.among(plan.case.species)
    told_apart = [species for p in plan.distinctions for species in (p.one, p.other)]
    things = to_bring(control, (option.method for option in options), load_papers())
    sheet.write(
        *(() if job.options is not None else plan_words.summary(plan)),
        _site(job, control),
        *by_plant(namings, [look_again(first, key, told_apart), *(look_again(o, key) for o in job.others)], key.flora),
        *plan_words.differences(plan, control),
        plan_words.first(plan),
        Section("What to do", tuple(plan_words.card(o, control, brief=o.suited == "yes") for o in options)),
        *((weather_limits(rules),) if sprayed else ()),
        *_sums(job),
        Section("What to bring", (ticks(things),), together=True),
        plan_words.cautions(replace(plan, cautions=cautions_for(control, plan.case, options))),
        *([plan_words.law(plan)] if sprayed else []),
        *_to_write(sprayed),
    )
    sheet.write_references()
    return sheet.as_pdf()


def _sums(job: JobSheet) -> tuple[Section, ...]:
    """What was worked out, on one page each, the warning with the first."""
    first = Section("Calculations, from the figures entered", (Paragraph((LABEL_FIRST,)), *job.sums[:1]), together=True)
    return (first, *(Section("", (one,), together=True) for one in job.sums[1:])) if job.sums else ()


def _site(job: JobSheet, control: Control) -> Table:
    case, client, site = job.plan.case, job.client, job.site
    lawn = control.lawns[case.lawn]
    variety = f" ({lawn.cultivars[case.cultivar].name})" if case.cultivar in lawn.cultivars else ""
    rows = {
        "Client": ", ".join(filter(None, (client.name, client.phone, client.email))) if client else "",
        "Address": ", ".join(filter(None, (site.address, site.state))) if site else "",
        "Lawn area": f"{site.area_m2:g} m\u00b2" if site and site.area_m2 else "",
        "Lawn grass": "unknown: check it on site" if case.lawn == "unknown" else f"{lawn.name}{variety}",
        "Near": ", ".join(case.near) or "nothing was noted; look around",
        "Groups used here before": ", ".join(map(str, case.used)),
        "Notes": site.notes if site else "",
    }
    return Table(tuple((name, value) for name, value in rows.items() if value), widths=(0.16, 0.84), paired=True)


def _to_write(sprayed: bool) -> list[Section]:
    """Space to write what was measured and done."""
    weather = Table(
        ((("",) * len(READINGS)),) * EMPTY_READINGS,
        (*list(READINGS.values())[:-1], "Smoke, mist, dew?"),
        (0.11, 0.11, 0.14, 0.13, 0.14, 0.15, 0.22),
        (LINE,) * EMPTY_READINGS,
    )
    when = Table((("Start", "", "Finish", "", "By whom", ""),), (), (0.08, 0.17, 0.08, 0.17, 0.11, 0.39), (LINE,))
    lines = ["What was done, and what was left"]
    if sprayed:
        lines[:0] = ["Product and batch, from the label", "Amount of product and of water used"]
    tall = (*[LINE] * (len(lines) - 1), 2.5 * LINE)
    done = Table(tuple((line, "") for line in lines), widths=(0.36, 0.64), tall=tall)
    sections = [Section("Weather as measured on site", (weather,), together=True)] if sprayed else []
    return [*sections, Section("Done", (when, done), together=True)]


def of_visit(visit: PaperVisit, chosen: tuple[MethodName, ...] = (), sums: tuple[str | Block, ...] = ()) -> bytes:
    """The job sheet of a visit: of the ``chosen`` methods, else of what was decided on at the visit."""
    plan = visit.plan
    of_methods = tuple(option for option in plan.options if option.method in chosen and option.suited != "no")
    sheet = JobSheet(
        visit.naming,
        plan,
        visit.record.site,
        visit.record.client,
        visit.day,
        visit.maker,
        tuple(Paragraph((one,), "strong") if isinstance(one, str) else one for one in sums),
        options=of_methods if chosen else decided_option(visit.record, plan) or None,
        others=visit.namings[1:],
        mark=visit.mark,
    )
    return job_paper(sheet, visit.key, visit.control, load_rules())
