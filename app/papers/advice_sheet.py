"""The advice sheet for the homeowner: what it is, how sure and why, and what to do. Never a rate."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from functools import partial

from app.papers.marks import Marks
from app.papers.pdf import BODY, ITEM, SMALL, SMALL_ITEM, Head, Sheet, safe, slanted, style
from app.papers.year_bar import YearStrip
from app.present.finding import month_name
from app.present.naming import TAKEN_FOR, Naming, against, how_sure, seen, taken_for
from app.present.show_plan import parting_lines
from model.control import Control, JudgedOption, Plan, Year
from model.control.year import spans
from model.identify import Key

STRIP = (
    "Filled: what the plant does. Hatched: when to act, where that is good in some months only. "
    "Framed: the month of this sheet."
)
RATE = "Nothing on this sheet is a rate: how much to use stands on the product's label, and only there."


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
    plant = key.flora.species[advice.naming.species]
    about = ", ".join(filter(None, (advice.client, advice.place)))
    sheet = Sheet(Head("Advice on a weed", about, advice.day, advice.maker, "no rates: read the label"))
    marks = Marks(control)
    several = [key.flora.species[s] for s in advice.plan.case.species]
    if len(several) == 1:
        sheet.title(safe(_capital(plant.common_name)), slanted(plant.scientific_name))
    else:
        title = _capital(" or ".join(one.common_name for one in several)) + "?"
        sheet.title(safe(title), " or ".join(slanted(one.scientific_name) for one in several))
    summary(sheet, advice.plan)
    _what_it_is(sheet, advice.naming.among(advice.plan.case.species), key, _parted(advice.plan))
    sheet.items(parting_lines(advice.plan, control))
    for species, statement in advice.plan.about:
        name = f"{_capital(key.flora.species[species].common_name)}: " if len(several) > 1 else ""
        sheet.markup(f"{safe(name)}{marks.of(statement)}", BODY)
    _what_to_do(sheet, advice.plan, marks, control)
    for year in advice.plan.years:
        sheet.together(partial(_the_year, sheet, advice.plan, year, control))
    if advice.plan.cautions:
        sheet.heading("Cautions")
        for caution in advice.plan.cautions:
            sheet.bullet(marks.of(caution), SMALL_ITEM)
    sheet.space(6)
    sheet.text(RATE, style(9, fontName="bold", spaceAfter=5))
    for line in marks.legend():
        sheet.markup(line, SMALL)
    return sheet.as_pdf()


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def summary(sheet: Sheet, plan: Plan) -> None:
    """The plan in one breath, before anything else."""
    for line in plan.summary:
        sheet.text(line, style(9.5, fontName="bold", spaceAfter=3))


def _parted(plan: Plan) -> set[str]:
    """The plants that the plan itself tells from the one in front."""
    front = plan.case.species[0]
    return {p.other if p.one == front else p.one for p in plan.distinctions if front in (p.one, p.other)}


def _what_it_is(sheet: Sheet, naming: Naming, key: Key, parted: Collection[str]) -> None:
    sheet.heading("What it is")
    sheet.text(how_sure(naming, key))
    fits, odd = seen(naming, key), against(naming, key)
    if fits:
        sheet.text("What was seen, and fits:")
        sheet.items(fits)
    if odd:
        sheet.text("What was seen, and does not fit:")
        sheet.items(odd)
    # What parts the names of a shortlist is said below, pair by pair.
    shortlist = {key.flora.species[species].common_name for species in parted}
    others = [one for one in taken_for(naming, key) if one[0] not in shortlist]
    if not others:
        return
    asked = any(value != () for value in naming.answers.values())
    rows = [["Often mistaken for", "How to tell them apart", "Ruled out"]]
    rows += [[name, _capital(note), "yes" if out else "not yet"] for name, note, out in others[:TAKEN_FOR]]
    if asked:
        sheet.table(rows, (0.20, 0.68, 0.12))
    else:
        sheet.table([row[:2] for row in rows], (0.20, 0.80))
    rest = others[TAKEN_FOR:]
    if rest and asked and all(out for *_, out in rest):
        sheet.text(f"Also ruled out: {', '.join(name for name, *_ in rest)}.", SMALL)


def _what_to_do(sheet: Sheet, plan: Plan, marks: Marks, control: Control) -> None:
    now, later = plan.by("yes"), plan.by("wait")
    sheet.heading(f"What to do now, in {month_name(plan.case.month)}")
    if len(plan.case.species) > 1:
        names = " or ".join(control.flora.species[s].common_name for s in plan.case.species)
        sheet.text(f"This applies to every weed that it may still be: {names}.")
    for statement in plan.first:
        sheet.markup(marks.of(statement), style(9, spaceAfter=3))
    for option in now:
        _option(sheet, option, marks)
    days = next((o.look_again for o in now if o.look_again), None)
    if days:
        sheet.text(f"Check again after {days[0]} to {days[1]} days.")
    if later:
        sheet.heading("What to do later, or on a condition")
        for option in later:
            read = [reason for reason in option.beside if reason.standing == "by the label"]
            told = " ".join(marks.said(r.text, r.standing, r.source) for r in (*option.against, *read))
            names = f": {option.mix_with_groups}" if option.actives else ""
            sheet.bullet(f"<b>{safe(option.title)}</b>{safe(names)}. {told}", ITEM)
    _only_for(sheet, plan, marks, control)
    _not_here(sheet, plan, marks)


def _option(sheet: Sheet, option: JudgedOption, marks: Marks) -> None:
    told = " ".join(marks.said(r.whole, r.standing, r.source) for r in option.do)
    name = f": {option.mix_with_groups}" if option.actives else ""
    sheet.markup(f"<b>{safe(option.title)}{safe(name)}.</b> {told}", style(9, spaceAfter=1.5))
    mind = [r for r in option.beside if r.factor == "lawn" or r.weight == "care"]
    more = [marks.said(_capital(r.text), r.standing, r.source) for r in mind]
    if option.out:
        more.append(f"Remove: {safe(', '.join(option.out))}.")
    if option.leaves:
        more.append(f"What it won't fix: {safe(_undone(option.leaves))}.")
    sheet.markup(" ".join(more), style(8.2, leftIndent=10, spaceAfter=4))


def _undone(leaves: tuple[str, ...]) -> str:
    """What is left undone, without what is said more fully beside it."""
    texts = [f"{text[:1].lower()}{text[1:]}".rstrip(".") for text in leaves]
    return "; ".join(text for text in texts if not any(text != other and other.startswith(text) for other in texts))


def _only_for(sheet: Sheet, plan: Plan, marks: Marks, control: Control) -> None:
    """What holds for some of a shortlist only: a reason to tell them apart first."""
    some = [o for o in plan.only if o.suited != "no"]
    if some:
        sheet.heading("Only for one of them, so tell them apart first")
    for option in some:
        names = " or ".join(control.flora.species[s].common_name for s in option.species)
        title = f"{option.title}{f': {option.mix_with_groups}' if option.actives else ''}"
        told = " ".join(marks.said(r.text, r.standing, r.source) for r in option.do)
        when = "now" if option.suited == "yes" else f"best in {spans(option.months)}"
        sheet.bullet(f"<b>{safe(title)}</b>, {safe(names)} only ({when}). {told}", SMALL_ITEM)


def _not_here(sheet: Sheet, plan: Plan, marks: Marks) -> None:
    """What is ruled out, and why: homeowners ask for it."""
    out = [o for o in (*plan.options, *plan.only) if o.suited == "no" and o.actives]
    if not out:
        return
    sheet.heading("What not to use here")
    first = [(_capital(option.ruled_out), option.against[0]) for option in out]
    for line in dict.fromkeys(marks.said(text, reason.standing, reason.source) for text, reason in first):
        sheet.bullet(line, SMALL_ITEM)


def _the_year(sheet: Sheet, plan: Plan, year: Year, control: Control) -> None:
    """The strip, without the ways that this place rules out."""
    suited = {o.method for o in (*plan.options, *plan.only) if o.suited != "no"}
    shown = replace(year, best={method: months for method, months in year.best.items() if method in suited})
    sheet.heading(f"The year of {control.flora.species[year.species].common_name}")
    sheet.add(YearStrip(control, shown, plan.case.month))
    sheet.text(STRIP, SMALL)
