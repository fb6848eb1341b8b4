"""The advice sheet for the homeowner: what it is, how sure and why, and what to do. Never a rate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.platypus import Flowable, Spacer

from app.figures.telling import telling
from app.papers.pdf import Head
from app.papers.plant_figure import SheetPhoto, beside, drawings_figure, photo_figure
from app.papers.plant_title import by_plant, plants_of, write_title
from app.papers.sheet import Sheet
from app.papers.visit_paper import PaperVisit
from app.papers.year_bar import side_by_side
from app.present import plan as plan_words
from app.present.block import Paragraph, capital
from app.present.naming import Naming, what_it_is
from model.control import Control, Plan
from model.identify import Key

MOST_DRAWN = 3  # plants of a shortlist that are shown by drawings
STRIP = (
    "Filled: what the plant does. Hatched: when to act, where that is good in some months only. "
    "Framed: the month of this sheet."
)
RATE = "This sheet gives no rates: how much to use is on the product's label, and only there."


@dataclass(frozen=True)
class AdviceSheet:
    """What the sheet is made from. ``plan`` is for one weed, or for all that it may still be, or all that grow there.

    ``others``: how those that grow there too were named.
    ``client``, ``place``, ``day``, ``maker`` are as they shall be printed; empty ones are left out. Without a
    ``photo`` there are line drawings.
    """

    naming: Naming
    plan: Plan
    client: str = ""
    place: str = ""
    day: str = ""
    maker: str = ""
    photo: SheetPhoto | None = None
    others: tuple[Naming, ...] = ()
    mark: str = ""


def advice_paper(advice: AdviceSheet, key: Key, control: Control) -> bytes:
    """The advice sheet as PDF."""
    plan = advice.plan
    where = ", ".join(filter(None, (advice.client, advice.place)))
    head = Head(
        "Advice on a weed",
        where,
        advice.day,
        advice.maker,
        "  \u00b7  ".join(filter(None, ("no rates: read the label", advice.mark))),
    )
    sheet = Sheet(head, control.flora.sources)
    namings, together = (advice.naming, *advice.others), plan.case.together
    write_title(sheet, plan, namings, key.flora, plan_words.place_and_month(plan, control))
    sheet.write(*plan_words.summary(plan))
    sheet.parts = list(beside(sheet.parts, _figure(advice, plants_of(plan, namings), key)))
    front = plan.case.species[0]
    told_apart = [p.other if p.one == front else p.one for p in plan.distinctions if front in (p.one, p.other)]
    first = advice.naming if together else advice.naming.among(plan.case.species)
    sections = [what_it_is(first, key, told_apart), *(what_it_is(other, key) for other in advice.others)]
    sheet.write(
        *by_plant(namings, sections, key.flora),
        *plan_words.differences(plan, control),
        *plan_words.about(plan, control),
        plan_words.first(plan),
        *plan_words.options(plan, control, brief=True),
        plan_words.only_for_some(plan, control, brief=True),
        plan_words.ruled_out(plan),
    )
    years = plan_words.calendars(plan, control)
    if years:
        sheet.add(Spacer(1, 7), side_by_side(years))
        sheet.write(Paragraph((STRIP,), "small"))
    sheet.write(Paragraph((RATE,), "strong"), plan_words.cautions(plan))
    sheet.write_references()
    return sheet.as_pdf()


def _figure(advice: AdviceSheet, species: Sequence[str], key: Key) -> list[Flowable]:
    """The photo, else drawings of what tells the plants best."""
    if advice.photo is not None:
        return photo_figure(advice.photo)
    plants = key.flora.species
    return drawings_figure([(capital(plants[one].common_name), telling(key, one)) for one in species[:MOST_DRAWN]])


def of_visit(visit: PaperVisit, client: str = "") -> bytes:
    """The advice sheet of a visit. ``client``: whom it is for, by default the client of the visit."""
    who = client or visit.record.client.name
    where, others = visit.record.site.address, visit.namings[1:]
    sheet = AdviceSheet(visit.naming, visit.plan, who, where, visit.day, visit.maker, visit.photo, others, visit.mark)
    return advice_paper(sheet, visit.key, visit.control)
