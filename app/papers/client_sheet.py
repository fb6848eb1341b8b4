"""The paper for the client, on one page: what it is, what was done, what to do until when, and when it is looked at."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from app.papers.pdf import Head
from app.papers.plant_figure import beside, photo_figure
from app.papers.plant_title import names_in_words, write_title
from app.papers.sheet import Sheet
from app.papers.to_bring import ForClient, load_papers
from app.papers.visit_paper import PaperVisit
from app.present.block import Block, Paragraph, Section, Table, Words, as_text, bullets, capital
from app.present.finding import day_text, share
from app.present.naming import GIVEN, Naming
from app.present.plan import not_fixed
from app.records import Treatment
from app.records.days import later
from app.services.objections import actives_named, place_named
from app.services.visit_papers import decided_option
from model.control.facts import MethodName
from model.errors import AnswerError

ROW = (0.2, 0.8)
WET = ("selective", "wipe", "non_selective")  # taken up by leaves, so that mowing waits


def of_visit(visit: PaperVisit) -> bytes:
    """The paper for the client of a visit. Raises AnswerError while a treatment of it is not signed."""
    record = visit.record
    where = ", ".join(filter(None, (record.client.name, record.site.address)))
    kind = "Your lawn: what was found and done" if visit.treatments else "Your lawn: what was found"
    sheet = Sheet(Head(kind, where, visit.day, _business(visit)[0], visit.mark))
    write_title(sheet, visit.plan, visit.namings, visit.key.flora)
    first, *rest = client_blocks(visit)
    sheet.write(first)
    sheet.parts = list(beside(sheet.parts, photo_figure(visit.photo) if visit.photo is not None else []))
    sheet.write(*rest)
    return sheet.as_pdf()


def client_text(visit: PaperVisit) -> str:
    """What the paper says, as text for a mail. Raises AnswerError while a treatment of it is not signed."""
    names = names_in_words(visit.plan, visit.namings, visit.key.flora)
    return as_text((Paragraph((f"{names}, {visit.record.site.address}, {visit.day}",)), *client_blocks(visit)))


def client_blocks(visit: PaperVisit) -> tuple[Block, ...]:
    """The paper below its title. Raises AnswerError while a treatment of it is not signed."""
    unsigned = [current for current in visit.treatments if not current.is_signed]
    if unsigned:
        raise AnswerError(f"treatment {unsigned[0].record.id} is not signed yet; sign it, then make the client's paper")  # type: ignore[union-attr]
    done = [current.record for current in visit.treatments if isinstance(current.record, Treatment)]
    words = load_papers().client
    alone = len(visit.namings) == 1
    lines = [f"{'' if alone else _plant_name(visit, naming)}{how_sure(naming, visit)}" for naming in visit.namings]
    return (
        Section("What it is", tuple(Paragraph((line,)) for line in lines)),
        Section("What was done", tuple(_treatment_table(visit, one, words) for one in done)),
        Section("What we suggest", bullets(visit.plan.summary if not done else ())),
        Section("What you need to do", bullets(_instructions(visit, done, words))),
        Section("What to expect", bullets(_expected(visit) if done else ())),
        Section("Next look", bullets(_next_look(visit))),
        Section("From", (Paragraph((". ".join(_business(visit)) + ".",)),)),
    )


def how_sure(naming: Naming, visit: PaperVisit) -> str:
    """How sure the name is, for somebody who does not know plants."""
    by = f" {naming.confirmed_by} looked at it and confirmed the name." if naming.confirmed_by else ""
    if naming.status == "confirmed":
        return f"The name is certain: every plant that it could be mistaken for was ruled out.{by}"
    if by or naming.status == GIVEN:
        return by.strip() or "The name was given by the person who saw the plant."
    chance = f" ({share(naming.probability)})" if naming.probability is not None else ""
    others = " or ".join(visit.key.flora.species[other].common_name for other in naming.also)
    also = f" It may also be {others}; what is said here holds for all of them." if others else ""
    return f"The name is likely{chance}, not certain.{also}" if naming.status == "likely" else f"Not certain yet.{also}"


def _plant_name(visit: PaperVisit, naming: Naming) -> str:
    plant = visit.key.flora.species[naming.species]
    return f"{capital(plant.common_name)} ({plant.scientific_name}). "


def _treatment_table(visit: PaperVisit, treatment: Treatment, words: ForClient) -> Table:
    method = method_of(visit, treatment)
    plain = f" ({words.methods[method]})" if method else ""
    products = "; ".join(f"{p.name} ({p.actives})" if p.actives else p.name for p in treatment.products)
    where = treatment.treated_area or (f"{treatment.area_m2:g} m\u00b2" if treatment.area_m2 else "")
    times = [f"{at:%H:%M}" for at in (treatment.started, treatment.finished) if at is not None]
    rows = {
        "Treatment": f"{treatment.method}{plain}",
        "Product": products,
        "Where": ", ".join(filter(None, (treatment.situation, where))),
        "When": ", ".join(filter(None, (day_text(treatment.day), " to ".join(times)))),
        "By": treatment.applicator,
    }
    return Table(tuple((what, said) for what, said in rows.items() if said), widths=ROW)


def method_of(visit: PaperVisit, treatment: Treatment) -> MethodName | None:
    """The method of a treatment by what its record calls it; None for the user's own words."""
    methods = visit.control.methods.methods
    return next((name for name, method in methods.items() if treatment.method.startswith(method.title)), None)


def _instructions(visit: PaperVisit, done: list[Treatment], words: ForClient) -> Iterator[Words]:
    """What the client must do and until when: in the label's words where the record has them."""
    for treatment in done:
        if treatment.chemical:
            said = treatment.re_entry.strip().rstrip(".")
            label = f"When people and pets may go on the treated area again, by the label: {_lower_first(said)}."
            yield label if said else words.keep_off.text
            place = place_named(treatment.situation) or place_named(treatment.plants) or visit.plan.case.place
            if place == "lawn" and method_of(visit, treatment) in (*WET, None):
                yield words.mowing.text.format(day=_weekday(later(treatment.day, words.mowing.days)))
            lasting = [visit.control.actives[name] for name in actives_named(visit.control, treatment.products)]
            if treatment.clippings:
                yield f"Clippings: {treatment.clippings}"
            elif any(active.lasts_in_clippings for active in lasting):
                yield words.clippings.text
            waits = treatment.withholding.strip().rstrip(".")
            if waits and not waits.casefold().startswith(("none", "nil", "no ")):
                yield words.grazing.text.format(withholding=_lower_first(waits))


def _expected(visit: PaperVisit) -> Iterator[str]:
    """By the option that was decided on: when it shows whether it worked, and what it leaves undone."""
    for option in decided_option(visit.record, visit.plan):
        if option.look_again:
            yield f"Whether it worked shows after {option.look_again[0]} to {option.look_again[1]} days."
        if option.leaves:
            yield f"What it won't fix: {not_fixed(option.leaves)}."


def _next_look(visit: PaperVisit) -> Iterator[str]:
    """The days that are noted; else when the plan says to look."""
    noted = [item for item in visit.due if item.done is None]
    for item in noted:
        yield f"{_weekday(item.due)}: {item.what}."
    if not noted:
        for option in decided_option(visit.record, visit.plan):
            if option.look_again:
                days = [later(visit.record.visit.day, days) for days in option.look_again]
                yield f"Best between {day_text(days[0])} and {day_text(days[1])}; no day is set yet."


def _business(visit: PaperVisit) -> list[str]:
    """Business, address, number and licence, as the signed record has them, else the user's own details."""
    last = [current.record for current in visit.treatments if isinstance(current.record, Treatment)][:1]
    found = []
    for name in ("business", "applicator", "business_address", "business_contact", "licence"):
        said = next((text for one in (*last, visit.profile) if (text := getattr(one, name))), "")
        found += [f"Licence {said}" if name == "licence" else said] if said else []
    return found or [visit.maker or visit.record.visit.who]


def _lower_first(text: str) -> str:
    """The label's words within a sentence; what is not a capital at its start stays."""
    return text if text[:2].isupper() else f"{text[:1].lower()}{text[1:]}"


def _weekday(day: date) -> str:
    return f"{day:%A} {day_text(day)}"
