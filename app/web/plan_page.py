"""Step 6: the plan: what to do now, what later and what not, with every reason and its standing."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from app.figures.year_strip import STAGES
from app.present.show_plan import Notes, heading, parting_lines, ruled_out_lines, said_of, shared_lines
from app.services.advice import plan_for
from app.services.labels import note_label, revoke_label, split_actives
from app.web.context import Context
from app.web.draft import Draft
from app.web.frame import Fields, FormError, one
from app.web.lawn_page import case_of
from model.control import Control, JudgedOption, Plan, Year
from model.control.facts import FORMER_METHODS, Statement
from model.control.use import Suited

MARKS: dict[Suited, str] = {"yes": "Do it now", "wait": "Wait"}
STANDS = {"published": "published", "common practice": "common practice, no source", "from memory": "from memory"}


def show(context: Context, draft: Draft) -> dict[str, Any]:
    """What the step shows."""
    control = context.control
    made = plan_for(case_of(context, draft))
    notes = Notes(control)
    said = {option: said_of(option, notes) for option in (*made.options, *made.only) if option.suited != "no"}
    shared = {word: shared_lines(made, word, notes) for word in MARKS}
    rows = {
        word: [
            _row(o, notes, _without(said[o], shared[word] if o.actives else []))
            for o in made.options
            if o.suited == word
        ]
        for word in MARKS
    }
    only = [o for o in made.only if o.suited != "no"]
    return {
        "heading": heading(made, control),
        "summary": made.summary,
        "itself": made.itself,
        "first": _said(notes, made.first),
        "about": [notes.of(statement) for _, statement in made.about],
        "rows": rows,
        "shared": shared,
        "only": [_row(o, notes, said[o], whose=True) | {"whose": _names(control, o)} for o in only],
        "ruled_out": ruled_out_lines(made, notes),
        "partings": parting_lines(made, control),
        "marks": MARKS,
        "years": [year_rows(control, year) for year in _years(made)],
        "month": made.case.month,
        "lists": [
            ("About the name of the lawn grass", _said(notes, made.traps)),
            ("Always", _said(notes, made.cautions)),
            ("Law", _said(notes, made.law)),
        ],
        "works": notes.lines(),
        "choice": _current(draft.choice),
        "lawn": control.lawns[made.case.lawn].name,
        "may_read": made.case.place == "lawn" and made.case.lawn != "unknown",
    }


def key_of(option: JudgedOption, whose: bool = False) -> str:
    """What names an option on the page; with its plants where it holds for some of a shortlist only."""
    whom = ["of", *option.species] if whose else []
    return "+".join([option.method, *(active.name for active in option.actives), *whom])


def _current(choice: str) -> str:
    """The key of a choice, by the present name of its method: a draft may have been kept before that changed."""
    method, *rest = choice.split("+")
    return "+".join([FORMER_METHODS.get(method, method), *rest])


def _without(said: list[str], shared: list[str]) -> list[str]:
    return [line for line in said if line not in shared]


def _years(made: Plan) -> list[Year]:
    """The years of the plants, without the ways that are ruled out here."""
    ways = {option.method for option in (*made.options, *made.only) if option.suited != "no"}
    return [
        replace(y, best={method: months for method, months in y.best.items() if method in ways}) for y in made.years
    ]


def _row(option: JudgedOption, notes: Notes, why: list[str], whose: bool = False) -> dict[str, Any]:
    unread = [a.name for a in option.actives if a.needs_label]
    return {
        "key": key_of(option, whose),
        "name": option.name,
        "suited": option.suited,
        "actives": option.actives,
        "do": [notes.said(r.whole, r.standing, r.source) for r in option.do],
        "why": why,
        "out": option.out,
        "leaves": option.leaves,
        "months": option.months,
        "look_again": option.look_again,
        "standing": STANDS[option.standing],
        "labels": list(dict.fromkeys(" + ".join(a.label.actives) for a in option.actives if a.label is not None)),
        "unread": " + ".join(unread),
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


def made_plan(context: Context, draft: Draft) -> Plan:
    """The plan of a draft, for the papers and the record."""
    return plan_for(case_of(context, draft))


def chosen(context: Context, draft: Draft) -> JudgedOption | None:
    """The option that was chosen, where it is still in the plan."""
    made = made_plan(context, draft)
    every = {key_of(option, whose=True): option for option in made.only} | {key_of(o): o for o in made.options}
    return every.get(_current(draft.choice))


def choose(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Choose what to do, and go on: to spraying where it is sprayed, else to the record."""
    after = replace(draft, choice=which or one(fields, "choice"))
    option = chosen(context, after)
    if option is None:
        raise FormError("Choose what you will do first.")
    if option.suited == "no":
        raise FormError(f"{option.ruled_out} Choose another way.")
    # What was sprayed before is not what is chosen now; the readings still hold.
    weather = {name: told for name, told in after.weather.items() if name not in ("active", "rain_fast")}
    return replace(after, weather=weather, step="spray" if option.actives else "record")


def read_label(context: Context, draft: Draft, fields: Fields, which: str) -> tuple[Draft, list[str]]:
    """Keep that the user has read a label which names this lawn, and plan anew."""
    lawn = case_of(context, draft).lawn
    read = note_label(
        context.control, split_actives(which), lawn, one(fields, "number"), one(fields, "by"), date.today()
    )
    return draft, [f"Kept: {which} on {context.control.lawns[lawn].name}, {read}."]


def revoke(context: Context, draft: Draft, fields: Fields, which: str) -> tuple[Draft, list[str]]:
    """Take back that a label was read."""
    lawn = case_of(context, draft).lawn
    revoke_label(context.control, split_actives(which), lawn)
    told = f"Taken back: the label for {which} on {context.control.lawns[lawn].name}."
    return replace(draft, choice=""), [told]


def to_record(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """On to the record without choosing: advice alone."""
    return replace(draft, choice="", step="record")


ACTIONS = {"choose": choose, "to_record": to_record, "read_label": read_label, "revoke": revoke}
