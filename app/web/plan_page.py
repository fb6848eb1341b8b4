"""Step 6: the plan: what to do now, what later and what not, with every reason and its standing."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from app.present import plan as plan_words
from app.present.block import References
from app.services.advice import plan_for
from app.services.labels import note_label, revoke_label, split_actives
from app.services.spray_window import active_of
from app.web.context import Context
from app.web.draft import Draft, Step
from app.web.frame import Fields, FormError, one
from app.web.lawn_page import case_of
from model.control import JudgedOption, Plan, Use
from model.control.facts import FORMER_METHODS

STEP = Step("Plan", 60)


def show(context: Context, draft: Draft) -> dict[str, Any]:
    """What the step shows."""
    control, made = context.control, made_plan(context, draft)
    every = _by_key(made)
    may_read = made.case.place == "lawn" and made.case.lawn != "unknown"
    return {
        "heading": plan_words.heading(made, control),
        "summary": plan_words.summary(made),
        "first": [plan_words.first(made)],
        "about": plan_words.about(made, control),
        "names": plan_words.all_names(made, control),
        "options": (*plan_words.options(made, control), plan_words.only_for_some(made, control)),
        "after": (*plan_words.differences(made, control), plan_words.ruled_out(made)),
        "beside": plan_words.beside(made),
        "years": plan_words.calendars(made, control),
        "references": References(control.flora.sources),
        "itself": made.itself,
        "choice": _current(draft.choice),
        "lawn": control.lawns[made.case.lawn].name,
        "unread": {key: _unread(option) if may_read else "" for key, option in every.items()},
        "labels": {key: _labels(option) for key, option in every.items()},
    }


def _by_key(made: Plan) -> dict[str, JudgedOption]:
    """The options by what names them on the page."""
    option_key = plan_words.option_key
    return {option_key(o, whose=True): o for o in made.only} | {option_key(o): o for o in made.options}


def _current(choice: str) -> str:
    """The key of a choice, by the present name of its method: a draft may have been kept before that changed."""
    method, *rest = choice.split("+")
    return "+".join([FORMER_METHODS.get(method, method), *rest])


def _unread(option: JudgedOption) -> str:
    """The actives of which a label that is read may say what is not known of this lawn."""
    return " + ".join(active.name for active in option.actives if active.needs_label)


def _labels(option: JudgedOption) -> list[str]:
    """The mixes for which a label was read."""
    mixes = (" + ".join(active.label.actives) for active in option.actives if active.label is not None)
    return list(dict.fromkeys(mixes))


def made_plan(context: Context, draft: Draft) -> Plan:
    """The plan of a draft, for the papers and the record."""
    return plan_for(case_of(context, draft))


def chosen(context: Context, draft: Draft) -> JudgedOption | None:
    """The option that was chosen, where it is still in the plan."""
    return _by_key(made_plan(context, draft)).get(_current(draft.choice))


def to_spray(context: Context, draft: Draft) -> tuple[Use, JudgedOption | None]:
    """What is to be sprayed here, and the option of the plan that it is, where it is the one that was chosen.

    The actives and the state given at the step of spraying, else those of the plan. Raises AnswerError for an active
    that is not known.
    """
    option = chosen(context, draft) if draft.choice else None
    case = case_of(context, draft)
    state = draft.weather.get("state", draft.lawn.get("state", "")) or None
    text = draft.weather.get("active", option.mix if option is not None else "")
    actives = tuple(dict.fromkeys(active_of(context.control, name) for name in split_actives(text)))
    if option is not None and actives and set(actives) == {active.name for active in option.actives}:
        return replace(option.use, state=state), option if option.use.state == state else None
    use = Use(
        actives, lawn=case.lawn, cultivar=case.cultivar, place=case.place, month=case.month, state=state,
        near=case.near, used=case.used, labels=case.labels,
    )  # fmt: skip
    return use, None


def choose(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Choose what to do, and go on: to spraying where it is sprayed, else to the record."""
    after = replace(draft, choice=which or one(fields, "choice"))
    option = chosen(context, after)
    if option is None:
        raise FormError("First choose what you will do.")
    if option.suited == "no":
        raise FormError(f"{option.ruled_out} Choose another way.")
    # What was sprayed before is not what is chosen now; the readings still hold.
    weather = {name: value for name, value in after.weather.items() if name not in ("active", "rain_fast")}
    return replace(after, weather=weather, step="spray" if option.actives else "record")


def read_label(context: Context, draft: Draft, fields: Fields, which: str) -> tuple[Draft, list[str]]:
    """Keep that the user has read a label which names this lawn, and plan anew."""
    lawn = case_of(context, draft).lawn
    read = note_label(
        context.control, split_actives(which), lawn, one(fields, "number"), one(fields, "by"), date.today()
    )
    return draft, [f"Saved: {which} on {context.control.lawns[lawn].name}, {read}."]


def revoke(context: Context, draft: Draft, fields: Fields, which: str) -> tuple[Draft, list[str]]:
    """Take back that a label was read."""
    lawn = case_of(context, draft).lawn
    revoke_label(context.control, split_actives(which), lawn)
    return replace(draft, choice=""), [f"Withdrawn: the label for {which} on {context.control.lawns[lawn].name}."]


def to_record(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """On to the record without choosing: advice alone."""
    return replace(draft, choice="", step="record")


ACTIONS = {"choose": choose, "to_record": to_record, "read_label": read_label, "revoke": revoke}
