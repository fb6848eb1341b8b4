"""The papers of a plant or a visit, as PDF."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from app.present.finding import day_text
from app.present.naming import Naming
from app.services.plant_photos import paper_photo
from app.web.context import Context
from app.web.draft import Draft
from app.web.finding_page import plan_species
from app.web.frame import FormError
from app.web.plan_page import chosen, made_plan


def advice(context: Context, draft: Draft) -> bytes:
    """The advice sheet of a plant for the homeowner. Raises FormError where there is no plan."""
    from app.papers.advice_sheet import AdviceSheet, advice_paper

    made = made_plan(context, _planned(context, draft))
    naming = _naming(context, draft)
    if naming.status == "unlisted":
        raise FormError("No plant on file fits what was seen, so there is no advice yet.")
    folder = context.drafts.photos(draft.id)
    own = (folder / shot.file for shot in draft.shots if shot.usable and shot.file)
    photo = paper_photo(own, made.case.species, context.key.flora)
    return advice_paper(AdviceSheet(naming, made, day=_today(), photo=photo), context.key, context.control)


def job(context: Context, draft: Draft) -> bytes:
    """The job sheet of a plant for the contractor, with the sums that were done. Raises FormError without a plan."""
    from app.papers.job_sheet import JobSheet, job_paper
    from app.present.sums import sum_on_paper
    from app.web.sums_page import SUMS, result_of

    option = chosen(context, _planned(context, draft)) if draft.choice else None
    done = {kind: result_of(kind, draft.sums[kind]) for kind in SUMS if kind in draft.sums}
    sums = [sum_on_paper(SUMS[kind].title, found["result"]) for kind, found in done.items() if "result" in found]
    sheet = JobSheet(
        _naming(context, draft),
        made_plan(context, _planned(context, draft)),
        day=_today(),
        sums=tuple(sums),
        options=(option,) if option is not None else None,
    )
    return job_paper(sheet, context.key, context.control, context.rules)


def visit_paper_titles() -> dict[str, str]:
    """The papers of a visit, by name, with the words on the button of each."""
    from app.papers.visit_paper import TITLES

    return TITLES


WHOLE = {
    "follow-ups.ics": "Follow-ups for a calendar",
    "treatments.csv": "Treatments as a table",
    "findings.csv": "Findings as a table",
}


def _naming(context: Context, draft: Draft) -> Naming:
    if draft.given:
        return Naming(draft.given[0], also=draft.given[1:])
    return Naming.of(context.finding(draft), dict(draft.answers))


def _planned(context: Context, draft: Draft) -> Draft:
    if not plan_species(context, draft) or not draft.lawn:
        raise FormError("There is no plan to print yet; go through the steps first.")
    return draft


def _today() -> str:
    return day_text(date.today())


PAPERS: dict[str, Callable[[Context, Draft], bytes]] = {"advice": advice, "job": job}
