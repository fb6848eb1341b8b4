"""The advice sheet for the homeowner: what it is, how sure and why, and what to do. Never a rate."""

from __future__ import annotations

from dataclasses import dataclass

from app.papers.pdf import Head, safe, slanted
from app.papers.sheet import Sheet
from app.papers.visit_paper import PaperVisit, VisitPaper
from app.present import plan as plan_words
from app.present.block import Paragraph, Section, capital
from app.present.naming import Naming, what_it_is
from model.control import Control, Plan
from model.identify import Key

STRIP = (
    "Filled: what the plant does. Hatched: when to act, where that is good in some months only. "
    "Framed: the month of this sheet."
)
RATE = "This sheet gives no rates: how much to use is on the product's label, and only there."


@dataclass(frozen=True)
class AdviceSheet:
    """What the sheet is made from. ``plan`` is for one weed, or for all that it may still be.

    ``client``, ``place``, ``day``, ``maker`` are as they shall be printed; empty ones are left out.
    """

    naming: Naming
    plan: Plan
    client: str = ""
    place: str = ""
    day: str = ""
    maker: str = ""


def advice_paper(advice: AdviceSheet, key: Key, control: Control) -> bytes:
    """The advice sheet as PDF."""
    plan = advice.plan
    where = ", ".join(filter(None, (advice.client, advice.place)))
    head = Head("Advice on a weed", where, advice.day, advice.maker, "no rates: read the label")
    sheet = Sheet(head, control.flora.sources)
    species = plan.case.species if len(plan.case.species) > 1 else (advice.naming.species,)
    title = capital(plan_words.names(species, control)) + ("?" if len(species) > 1 else "")
    sheet.title(safe(title), " or ".join(slanted(key.flora.species[one].scientific_name) for one in species))
    front = plan.case.species[0]
    told_apart = [p.other if p.one == front else p.one for p in plan.distinctions if front in (p.one, p.other)]
    sheet.write(
        *plan_words.summary(plan),
        what_it_is(advice.naming.among(plan.case.species), key, told_apart),
        *plan_words.differences(plan, control),
        *plan_words.about(plan, control),
        plan_words.first(plan),
        *plan_words.options(plan, control, brief=True),
        plan_words.only_for_some(plan, control, brief=True),
        plan_words.ruled_out(plan),
    )
    for year in plan_words.calendars(plan, control):
        sheet.write(Section(f"The year of {year.name}", (year, Paragraph((STRIP,), "small")), together=True))
    sheet.write(plan_words.cautions(plan), Paragraph((RATE,), "strong"))
    sheet.write_references()
    return sheet.as_pdf()


def advice_of(visit: PaperVisit, client: str = "") -> bytes:
    """The advice sheet of a visit. ``client``: whom it is for, by default the client of the visit."""
    who = client or visit.record.client.name
    sheet = AdviceSheet(visit.naming, visit.plan, who, visit.record.site.address, visit.day, visit.maker)
    return advice_paper(sheet, visit.key, visit.control)


PAPER = VisitPaper("Advice sheet", "The advice sheet for the homeowner. Never a rate.", advice_of)
