"""Step 6: the plan: what to do now, what later and what not, with every reason and its standing."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from app.figures.year_strip import STAGES
from app.show_plan import Notes, heading, parting_lines, summary
from app.web.draft import Draft
from app.web.frame import Fields, FormError, one
from app.web.lawn import case_of
from app.web.shed import Shed
from model.control import Control, JudgedOption, Plan, Year, plan
from model.control.facts import Statement

MARKS = {"yes": "Do it now", "wait": "Wait", "no": "Not here"}
STANDS = {"published": "published", "common practice": "common practice, no source", "from memory": "from memory"}


def show(shed: Shed, draft: Draft) -> dict[str, Any]:
    """What the step shows."""
    control = shed.control
    made = plan(control, case_of(shed, draft))
    notes = Notes(control)
    rows = {word: [_row(o, notes) for o in made.options if o.suited == word] for word in MARKS}
    return {
        "heading": heading(made, control),
        "summary": summary(made),
        "about": [notes.of(statement) for _, statement in made.about],
        "rows": rows,
        "only": [_row(o, notes) | {"whose": _names(control, o)} for o in made.only],
        "partings": parting_lines(made, control),
        "marks": MARKS,
        "years": [year_rows(control, year) for year in made.years],
        "month": made.case.month,
        "lists": [
            ("About the name of the lawn grass", _said(notes, made.traps)),
            ("Always", _said(notes, made.cautions)),
            ("Law", _said(notes, made.law)),
        ],
        "works": notes.lines(),
        "choice": draft.choice,
    }


def key_of(option: JudgedOption) -> str:
    """What names an option on the page."""
    return "+".join([option.method, *(active.name for active in option.actives)])


def _row(option: JudgedOption, notes: Notes) -> dict[str, Any]:
    against = [r for r in option.reasons if r.suited == "no"] if option.suited == "no" else option.reasons
    return {
        "key": key_of(option),
        "title": option.title,
        "suited": option.suited,
        "actives": option.actives,
        "do": [notes.said(r.text, r.standing, r.source) for r in option.do] if option.suited != "no" else [],
        "why": [notes.said(r.text, r.standing, r.source) for r in against],
        "out": option.out,
        "leaves": option.leaves,
        "months": option.months,
        "look_again": option.look_again,
        "standing": STANDS[option.standing],
    }


def _names(control: Control, option: JudgedOption) -> str:
    return ", ".join(control.flora.species[s].common_name for s in option.species)


def _said(notes: Notes, statements: tuple[Statement, ...]) -> list[str]:
    return [notes.of(statement) for statement in statements]


def year_rows(control: Control, year: Year) -> dict[str, Any]:
    """The year of a plant as rows of months: what it does, and when each way is at its best."""
    rows = [(label, stage, set(year.stages[stage])) for stage, label in STAGES.items() if year.stages[stage]]
    titles = control.methods.methods
    rows += [
        (titles[method].title, "act", set(months))  # type: ignore[index]
        for method, months in year.best.items()
        if months and len(months) < 12
    ]
    return {"name": control.flora.species[year.species].common_name, "rows": rows}


def made_plan(shed: Shed, draft: Draft) -> Plan:
    """The plan of a draft, for the papers and the record."""
    return plan(shed.control, case_of(shed, draft))


def chosen(shed: Shed, draft: Draft) -> JudgedOption | None:
    """The option that was chosen, where it is still in the plan."""
    made = made_plan(shed, draft)
    return next((o for o in (*made.options, *made.only) if key_of(o) == draft.choice), None)


def choose(shed: Shed, draft: Draft, fields: Fields, which: str) -> Draft:
    """Choose what to do, and go on: to spraying where it is sprayed, else to the record."""
    after = replace(draft, choice=which or one(fields, "choice"))
    option = chosen(shed, after)
    if option is None:
        raise FormError("Choose what you will do first.")
    if option.suited == "no":
        raise FormError(f"{option.title} is not for this lawn; choose another way.")
    return replace(after, step="spray" if option.actives else "record")


def to_record(shed: Shed, draft: Draft, fields: Fields, which: str) -> Draft:
    """On to the record without choosing: advice alone."""
    return replace(draft, step="record")


ACTIONS = {"choose": choose, "to_record": to_record}
