"""The papers of a plant or a visit, as PDF."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime

from app.present.finding import day_text
from app.records import open_records
from app.web.context import Context
from app.web.draft import Draft
from app.web.finding_page import plan_species
from app.web.frame import FormError
from app.web.plan_page import chosen, made_plan

KINDS = {"advice": "Advice sheet", "job": "Job sheet"}
PDF, CSV, CALENDAR = "application/pdf", "text/csv; charset=utf-8", "text/calendar; charset=utf-8"


def advice(context: Context, draft: Draft) -> bytes:
    """The advice sheet of a plant for the homeowner. Raises FormError where there is no plan."""
    from app.papers.advice_sheet import AdviceSheet, advice_paper
    from app.present.naming import Naming

    made = made_plan(context, _planned(context, draft))
    finding = context.finding(draft)
    if finding.status == "unlisted":
        raise FormError("No plant in the list explains what was seen, so there is nothing to advise yet.")
    naming = Naming.of(finding, dict(draft.answers))
    return advice_paper(AdviceSheet(naming, made, day=_today()), context.key, context.control)


def job(context: Context, draft: Draft) -> bytes:
    """The job sheet of a plant for the contractor, with the sums that were done. Raises FormError without a plan."""
    from app.papers.job_sheet import JobSheet, Sum, job_paper
    from app.present.naming import Naming
    from app.web.sums_page import SUMS, sum_of

    option = chosen(context, _planned(context, draft)) if draft.choice else None
    sums = []
    for kind, (title, _) in SUMS.items():
        typed = draft.sums.get(kind)
        if typed and "told" in _worked(kind, typed):
            sums.append(Sum.of(title, sum_of(kind, typed)))
    sheet = JobSheet(
        Naming.of(context.finding(draft), dict(draft.answers)),
        made_plan(context, _planned(context, draft)),
        day=_today(),
        sums=tuple(sums),
        options=(option,) if option is not None else (),
    )
    return job_paper(sheet, context.key, context.control, context.rules)


def printed_key(context: Context, month: int | None) -> bytes:
    """The printed key, of all plants or of those to be seen in a month."""
    from app.papers.key_sheet import key_paper
    from model.printed_key import make_key

    return key_paper(make_key(context.key.likelihoods, month), context.key.flora)


def of_visit(context: Context, visit: int, kind: str) -> bytes:
    """The advice or job sheet of a visit that is kept. Raises SwardkeyError where there is none."""
    from app.papers.advice_sheet import AdviceSheet, advice_paper
    from app.papers.job_sheet import JobSheet, job_paper
    from app.services.visit_papers import decided_option, naming_of, plan_of, visit_record

    with open_records() as records:
        record = visit_record(records, visit)
        naming = naming_of(record, context.key)
        made = plan_of(records, record, naming, context.control)
    day, who = day_text(record.visit.day), record.visit.who
    if kind == "advice":
        sheet = AdviceSheet(naming, made, record.client.name, record.site.address, day, who)
        return advice_paper(sheet, context.key, context.control)
    options = decided_option(record, made)
    job_sheet = JobSheet(naming, made, record.site, record.client, day, who, options=options)
    return job_paper(job_sheet, context.key, context.control, context.rules)


def of_treatment(number: int) -> bytes:
    """The record of a treatment as PDF, with its amendments. Raises RecordsError where there is none."""
    from app.papers.record_sheet import paper_of_treatment

    with open_records() as records:
        return paper_of_treatment(records, number)


def of_all(name: str) -> tuple[bytes, str]:
    """What is taken out of the records as a whole: tables and the calendar, with the kind of file."""
    from app.papers.csv_table import findings_csv, treatments_csv
    from app.papers.follow_ups import calendar_file
    from app.services.visit_papers import all_visits

    with open_records() as records:
        if name == "follow-ups.ics":
            sites = {site.id: site for site in records.sites()}
            return calendar_file(records.follow_ups(), sites, datetime.now(UTC)), CALENDAR
        if name == "treatments.csv":
            return treatments_csv(records.treatments()), CSV
        return findings_csv(all_visits(records)), CSV


def shared(context: Context, ending: str, told: Mapping[str, str]) -> tuple[bytes, str]:
    """Confirmed findings for open portals, as a table (csv) or an archive (zip), shared as the form says.

    Raises AnswerError where it cannot be shared so, or nothing is confirmed.
    """
    from app.papers.darwin_core import Sharing, archive, occurrence_csv
    from app.services.visit_papers import all_visits

    places = told.get("places", "")
    decimals = int(places) if places.isascii() and places.isdigit() else None
    with open_records() as records:
        visits, dataset = all_visits(records), records.dataset()
    sharing = Sharing(told.get("by", ""), told.get("licence", ""), dataset, decimals, told.get("names") == "yes")
    if ending == "csv":
        return occurrence_csv(visits, context.key.flora, sharing), CSV
    return archive(visits, context.key.flora, sharing, date.today()), "application/zip"


WHOLE = {
    "follow-ups.ics": "Follow-ups for a calendar",
    "treatments.csv": "Treatments as a table",
    "findings.csv": "Findings as a table",
}


def _worked(kind: str, typed: dict[str, str]) -> dict[str, object]:
    from app.web.sums_page import result_of

    return result_of(kind, typed)


def _planned(context: Context, draft: Draft) -> Draft:
    if not plan_species(context, draft) or not draft.lawn:
        raise FormError("There is no plan yet to make a paper of; go through the steps first.")
    return draft


def _today() -> str:
    return day_text(date.today())


PAPERS: dict[str, Callable[[Context, Draft], bytes]] = {"advice": advice, "job": job}
