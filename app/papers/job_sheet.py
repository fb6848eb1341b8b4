"""The job sheet for the contractor: where, what, how, within which weather, and space to write."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from app.papers.advice_sheet import summary
from app.papers.marks import Marks
from app.papers.pdf import SMALL, SMALL_ITEM, Head, Sheet, safe, slanted, style
from app.papers.to_bring import load_papers, to_bring
from app.present.naming import Naming, how_sure, taken_for
from app.present.show_plan import heading, parting_lines
from model.control import Control, JudgedOption, Plan
from model.control.facts import MethodName
from model.control.year import spans
from model.identify import Key
from model.mix.result import LABEL_FIRST, Result
from model.spray.rules import Band, Rules

if TYPE_CHECKING:
    from app.records import Client, Site

READINGS, LINE = 4, 21.0  # empty rows for the weather, and how high a line to write on is, in points


@dataclass(frozen=True)
class Sum:
    """A sum that was done from what the user typed: its name, the figures in words, and the working."""

    title: str
    told: tuple[tuple[str, str], ...]
    working: tuple[str, ...] = ()

    @classmethod
    def of(cls, title: str, result: Result) -> Sum:
        """From what model.mix hands back."""
        return cls(title, tuple(result.rows), result.working)


@dataclass(frozen=True)
class JobSheet:
    """What the sheet is made from.

    ``options``: those of the plan that were decided on; without any, those of the ``chosen``
    methods, and without these all that are suited now. ``hours``: judged hours of
    the day, in words, where there was a forecast.
    """

    naming: Naming
    plan: Plan
    site: Site | None = None
    client: Client | None = None
    day: str = ""
    maker: str = ""
    chosen: tuple[MethodName, ...] = ()
    sums: tuple[Sum, ...] = ()
    hours: tuple[str, ...] = ()
    options: tuple[JudgedOption, ...] = ()


def job_paper(job: JobSheet, key: Key, control: Control, rules: Rules) -> bytes:
    """The job sheet as PDF."""
    plant = key.flora.species[job.naming.species]
    where = job.site.address if job.site else ""
    sheet = Sheet(Head("Job sheet", where, job.day, job.maker, "no rates but those you typed: the label comes first"))
    marks = Marks(control)
    sheet.title(safe(f"{plant.common_name[:1].upper()}{plant.common_name[1:]}"), slanted(plant.scientific_name))
    about = heading(job.plan, control)
    sheet.text(f"{about[:1].upper()}{about[1:]}")
    summary(sheet, job.plan)
    _site(sheet, job, control)
    _weed(sheet, job, key, control)
    options = chosen_options(job)
    _plan(sheet, job, options, marks)
    if any(option.actives for option in options):
        sheet.together(lambda: _window(sheet, job, rules, marks))
    _sums(sheet, job)
    things = to_bring(control, (option.method for option in options), load_papers())
    sheet.together(lambda: _bring(sheet, things))
    sheet.together(lambda: _to_write(sheet, any(option.actives for option in options)))
    if job.plan.cautions:
        sheet.heading("Cautions")
        for caution in job.plan.cautions:
            sheet.bullet(marks.of(caution), SMALL_ITEM)
    for statement in job.plan.law:
        sheet.bullet(marks.of(statement), SMALL_ITEM)
    for line in marks.legend():
        sheet.markup(line, SMALL)
    return sheet.as_pdf()


def chosen_options(job: JobSheet) -> tuple[JudgedOption, ...]:
    """The options of the plan that were decided on; without a choice, those that are suited now."""
    if job.options:
        return job.options
    if job.chosen:
        return tuple(o for o in job.plan.options if o.method in job.chosen and o.suited != "no")
    return tuple(o for o in job.plan.options if o.suited == "yes")


def _site(sheet: Sheet, job: JobSheet, control: Control) -> None:
    rows = []
    if job.client is not None:
        contact = ", ".join(text for text in (job.client.phone, job.client.email) if text)
        rows.append(["Client", ", ".join(filter(None, (job.client.name, contact)))])
    case = job.plan.case
    if job.site is not None:
        rows.append(["Address", ", ".join(filter(None, (job.site.address, job.site.state)))])
        if job.site.area_m2:
            rows.append(["Lawn area", f"{job.site.area_m2:g} m\u00b2"])
    rows.append(["Lawn grass", _grass(job.plan, control)])
    rows.append(["Near", ", ".join(case.near) or "nothing was noted; look around"])
    if case.used:
        rows.append(["Groups used here before", ", ".join(str(group) for group in case.used)])
    if job.site is not None and job.site.notes:
        rows.append(["Notes", job.site.notes])
    sheet.table(rows, (0.24, 0.76), heads=False)


def _grass(plan: Plan, control: Control) -> str:
    """The lawn grass, with the variety where it is known."""
    lawn = control.lawns[plan.case.lawn]
    if plan.case.lawn == "unknown":
        return "unknown: check it on site"
    variety = f" ({lawn.cultivars[plan.case.cultivar].name})" if plan.case.cultivar in lawn.cultivars else ""
    return f"{lawn.name}{variety}"


def _weed(sheet: Sheet, job: JobSheet, key: Key, control: Control) -> None:
    sheet.heading("The weed")
    naming = job.naming.among(job.plan.case.species)
    sheet.text(how_sure(naming, key))
    parted = {key.flora.species[species].common_name for p in job.plan.distinctions for species in (p.one, p.other)}
    still = [(name, note) for name, note, out in taken_for(naming, key) if not out and name not in parted]
    if still:
        sheet.text("Before you start, look again: it may be mistaken for")
        sheet.items(f"{name}: {note}" for name, note in still[:4])
    sheet.items(parting_lines(job.plan, control))


def _plan(sheet: Sheet, job: JobSheet, options: tuple[JudgedOption, ...], marks: Marks) -> None:
    sheet.heading("What to do")
    for statement in job.plan.first:
        sheet.markup(marks.of(statement), style(9, spaceAfter=3))
    for option in options:
        told = " ".join(marks.said(r.whole, r.standing, r.source) for r in option.do)
        names = f": {safe(option.mix_with_groups)}" if option.actives else ""
        sheet.markup(f"<b>{safe(option.title)}{names}.</b> {told}", style(9, spaceAfter=1.5))
        more = [f"Remove: {', '.join(option.out)}."] if option.out else []
        more.append(f"Best months: {spans(option.months)}.")
        if option.look_again:
            more.append(f"Look again after {option.look_again[0]} to {option.look_again[1]} days.")
        sheet.text(" ".join(more), style(8.2, leftIndent=10, spaceAfter=1.5))
        for reason in (r for r in option.reasons if r.suited == "wait" or option.actives):
            sheet.bullet(marks.said(reason.whole, reason.standing, reason.source), SMALL_ITEM)


def _window(sheet: Sheet, job: JobSheet, rules: Rules, marks: Marks) -> None:
    sheet.heading("Weather limits for spraying")
    rows = [["Reading", "Go", "Caution", "Stop"]]
    rows += [[f"{band.name[:1].upper()}{band.name[1:]}", *limits(band)] for band in rules.facts.bands.values()]
    sheet.table(rows, (0.22, 0.22, 0.28, 0.28))
    every = [limit for band in rules.facts.bands.values() for limit in band.limits]
    sheet.markup(marks.after("Where the label gives another limit, that one applies.", every), SMALL)
    sheet.items(job.hours)


def limits(band: Band) -> tuple[str, str, str]:
    """Go, caution and stop of one factor, in words.

    >>> from model.spray import load_rules
    >>> limits(load_rules().facts.bands["delta_t"])
    ('2 to 8 C', 'below 2, above 8 C', 'above 10 C')
    """

    def words(below: float | None, above: float | None) -> str:
        told = [f"below {below:g}"] if below is not None else []
        told += [f"above {above:g}"] if above is not None else []
        return f"{', '.join(told)} {band.unit}" if told else "\u2013"

    def value(name: str) -> float | None:
        limit = getattr(band, name)
        return None if limit is None else limit.value

    low = value("caution_below") if band.caution_below else value("stop_below")
    high = value("caution_above") if band.caution_above else value("stop_above")
    if low is not None and high is not None:
        go = f"{low:g} to {high:g} {band.unit}"
    else:
        go = f"{low:g} {band.unit} or more" if low is not None else f"{high:g} {band.unit} or less"
    caution = words(value("caution_below"), value("caution_above"))
    return go, caution, words(value("stop_below"), value("stop_above"))


def _sums(sheet: Sheet, job: JobSheet) -> None:
    if not job.sums:
        return
    sheet.heading("Calculations, from the figures entered")
    sheet.text(LABEL_FIRST)
    for one in job.sums:
        sheet.together(partial(_sum, sheet, one))


def _sum(sheet: Sheet, one: Sum) -> None:
    sheet.text(one.title, style(9, fontName="bold", spaceAfter=1))
    if one.told:
        sheet.table(list(one.told), (0.5, 0.5), heads=False)
    for line in one.working:
        sheet.text(line, SMALL)


def _bring(sheet: Sheet, things: tuple[str, ...]) -> None:
    sheet.heading("What to bring")
    sheet.boxes(things)


def _to_write(sheet: Sheet, spraying: bool) -> None:
    if spraying:
        sheet.heading("Weather as measured on site")
        rows = [["Time", "Air C", "Humidity %", "Delta T C", "Wind km/h", "Wind from", "Smoke, mist, dew?"]]
        rows += [[""] * 7 for _ in range(READINGS)]
        sheet.table(rows, (0.11, 0.11, 0.14, 0.13, 0.14, 0.15, 0.22), tall=[LINE] * READINGS)
    sheet.heading("Done")
    rows = [["Start", ""], ["Finish", ""], ["By whom", ""], ["What was done, and what was left", ""]]
    if spraying:
        rows[3:3] = [["Product and batch, from the label", ""], ["Amount of product and of water used", ""]]
    sheet.table(rows, (0.36, 0.64), heads=False, tall=[LINE] * (len(rows) - 1) + [3 * LINE])
