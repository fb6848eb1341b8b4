"""A visit that is kept: what was found and planned, what was done, what is due, and the signatures."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any
from urllib.parse import quote, urlencode

from app.present.block import capital
from app.present.finding import day_text
from app.present.naming import GIVEN
from app.records import (
    FollowUp,
    Product,
    Reading,
    Records,
    RecordsError,
    Treatment,
    missing_fields,
    open_records,
    write_up_by,
)
from app.records.days import later
from app.records.doubts import QUESTIONS, is_key, ready_answers, refuse_impossible
from app.services.objections import HEADING, against
from app.services.own_products import holding, with_product
from app.services.visit_papers import chances_of, namings_of
from app.web.context import Context
from app.web.finding_page import LEAST, SHORTLIST
from app.web.frame import Fields, FormError, fault, one, refuse_unseen, row_number, seen
from app.web.treatment_form import form, read_day, read_form
from model.errors import AnswerError, SwardkeyError

AHEAD = 14  # days after the visit, where the plan does not say when to look again
Outcome = tuple[list[str], str]  # notices, and the treatment that somebody tried to sign


def show(context: Context, records: Records, number: int, tried: str = "") -> dict[str, Any]:
    """What the page of a visit shows; what the treatment ``tried`` lacks is marked. Raises RecordsError."""
    current = records.current("visit", number)
    kept: Any = current.record
    own = records.own_products()
    return {
        "kept": kept,
        "number": number,
        "seen": seen(kept),
        "signed": current.chain,
        "to_confirm": not current.is_signed and any(f.species and not f.confirmed_by for f in kept.findings),
        "findings": [_finding(context, finding) for finding in kept.findings],
        "treatments": [_treatment(context, records, one, own, tried) for one in records.treatments(visit=number)],
        "due": [f for f in records.follow_ups(kept.site.id, open_only=False) if f.visit == number],
        "ahead": next_look(kept).isoformat(),
        "papers": papers(kept),
        "weeds": weeds_of(context, kept),
        "client": for_client(context, records, kept),
        "chosen": list(dict.fromkeys(plan.chosen for plan in kept.plans if plan.chosen)),
    }


def next_look(kept: Any) -> date:
    """When to look again: after the visit, by what was chosen in its plan."""
    chosen = {plan.chosen for plan in kept.plans if plan.chosen}
    days = AHEAD
    for plan in kept.plans:
        for option in plan.plan.get("options", ()):
            if option.get("name") in chosen and option.get("look_again_days"):
                days = int(option["look_again_days"][-1])
    return later(kept.visit.day, days)


def weeds_of(context: Context, kept: Any) -> list[str]:
    """The weeds of a visit that have a name, in words."""
    try:
        return [context.name(naming.species) for naming in namings_of(kept, context.key)]
    except AnswerError:
        return []


def papers(kept: Any) -> list[tuple[str, str]]:
    """The papers that can be had of a visit: address and name; none where no plant was named."""
    from app.web.paper_files import visit_paper_titles  # it needs the plan, which needs this

    named = any(finding.species or finding.status == "undecided" for finding in kept.findings)
    titles = visit_paper_titles() if named else {}
    return [(f"/paper/visit/{kept.visit.id}/{kind}", words) for kind, words in titles.items() if kind != "client"]


def for_client(context: Context, records: Records, kept: Any) -> dict[str, str]:
    """The client's paper of a visit and a link to mail what it says; why there is none yet, where there is none."""
    from app.services.paper_making import text_for_client

    try:
        text = text_for_client(kept.visit.id, context.key)
    except SwardkeyError as error:
        return {"why": fault(str(error)), "address": ""}
    letter = urlencode({"subject": text.partition("\n")[0], "body": text}, quote_via=quote)
    to = quote(kept.client.email, safe="@")
    return {"address": f"/paper/visit/{kept.visit.id}/client", "mail": f"mailto:{to}?{letter}", "text": text}


def _finding(context: Context, finding: Any) -> dict[str, Any]:
    return {
        "name": found_name(context, finding),
        "status": ("named on sight" if finding.status == GIVEN else finding.status) if finding.species else "",
        "probability": finding.probability,
        "by": finding.confirmed_by,
    }


def found_name(context: Context, finding: Any) -> str:
    """What was found, in words; of an undecided plant, what it may be."""
    if finding.species:
        return context.name(finding.species)
    if finding.status == "unlisted":
        return "a plant not on file"
    likely = [context.name(species) for species, chance in chances_of(finding).items() if chance >= LEAST]
    return f"not named yet; it may be {' or '.join(likely[:SHORTLIST])}" if likely else "not named yet"


def _treatment(context: Context, records: Records, current: Any, own: Any, tried: str) -> dict[str, Any]:
    treatment: Treatment = current.record
    number, _, who = tried.partition(":")
    again = number == str(treatment.id) and not current.chain
    first = treatment.products[0] if treatment.products else Product()
    shelf = (holding(context.control, own, first) or own) if treatment.chemical and not first.name else ()
    return {
        "treatment": treatment,
        "seen": seen(treatment),
        "signed": current.chain,
        "form": form(treatment, again),
        "who": who if again and who else treatment.applicator,
        "doubts": records.asked(treatment.id, who) if again else (),
        "ready": ready_answers(treatment),
        "may_ask": _may_be_asked(treatment) if current.chain else (),
        "shelf": [product.name for product in shelf],
        "write_up": write_up_by(treatment).text if treatment.chemical else "",
        "against": against(records, treatment, context.control if treatment.products else None),
        "against_heading": HEADING,
    }


def _may_be_asked(treatment: Treatment) -> list[tuple[str, str]]:
    """What may be asked of an amendment, by the keys of the questions: nobody knows before it is sent."""
    passed_over = {"signer", *(("chemical",) if treatment.chemical else ("reading", "wind"))}
    found = [(key, capital(words)) for key, words in QUESTIONS.items() if key not in passed_over]
    if treatment.chemical:
        later = range(2, len(treatment.weather) + 1)
        found += [(f"wind-{number}", f"Why it was sprayed in the wind of reading {number}") for number in later]
    return found


def _answers(fields: Fields) -> dict[str, str]:
    """The answers of a form that were filled in, by the keys of their questions."""
    given = {name.removeprefix("answer-"): one(fields, name) for name in fields if name.startswith("answer-")}
    return {key: text for key, text in given.items() if text and is_key(key)}


def act(context: Context, number: int, do: str, fields: Fields, which: str) -> Outcome:
    """What a button on the page of a visit does; sentences on it. Raises SwardkeyError where it cannot be."""
    action = ACTIONS.get(do)
    if action is None:
        raise FormError("The record had changed since this page was loaded; it is up to date now.")
    with open_records() as records, records.together():  # so that nobody changes what was just compared
        done = action(records, number, fields, which)
    return ([done] if done else [], "") if isinstance(done, str) else done


def _its(records: Records, visit: int, which: str) -> Treatment:
    """The treatment that a button names, if it belongs to the visit."""
    for current in records.treatments(visit=visit):
        if isinstance(current.record, Treatment) and str(current.record.id) == which:
            return current.record
    raise FormError("That treatment belongs to another visit; open the visit again.")


def _filled_in(records: Records, visit: int, which: str, fields: Fields) -> Treatment:
    """The same with what the form holds. Raises FormError where somebody else has changed it meanwhile."""
    treatment = _its(records, visit, which)
    refuse_unseen(fields, treatment)
    return read_form(treatment, fields)


def _keep(records: Records, number: int, fields: Fields, which: str) -> str:
    records.change_treatment(_filled_in(records, number, which, fields))
    return "Kept."


def _sign_treatment(records: Records, number: int, fields: Fields, which: str) -> str | Outcome:
    """Sign it; where something is missing, what was filled in is kept and the rest is marked."""
    who = one(fields, "who")
    if not who:
        raise FormError("Who signs? Give a name.")
    filled_in = _filled_in(records, number, which, fields)
    kept = records.change_treatment(replace(filled_in, answered=filled_in.answered | _answers(fields)))
    again = f"{which}:{who}"
    lacks = missing_fields(kept)
    if lacks:
        where = f" for {kept.state}" if kept.state else ", as no state is named"
        count = "1 field is" if len(lacks) == 1 else f"{len(lacks)} fields are"
        return [fault(f"Not signed yet: {count} still missing{where}. The rest is saved.")], again
    try:
        refuse_impossible(kept)
    except RecordsError as error:
        return [fault(f"Not signed yet: {error}. The rest is saved.")], again
    if [doubt for doubt in records.asked(kept.id, who) if not ready_answers(kept).get(doubt.key)]:
        return [
            fault("Not signed yet: correct what is asked below, or answer each question. The rest is saved.")
        ], again
    records.sign("treatment", kept.id, who)
    known = records.learn_products(kept)
    added = f" {' and '.join(known)}: now on your list of products." if known else ""
    return f"The treatment is signed: from now on it can only be amended.{added}"


def _licensed(records: Records, number: int, fields: Fields, which: str) -> str:
    """Whether who sprays is licensed: then what the state asks of licensed people is asked too."""
    answer, _, treatment = which.partition(":")
    if answer not in ("yes", "no"):
        raise FormError("Licensed: answer yes or no.")
    kept = _filled_in(records, number, treatment, fields)
    records.change_treatment(replace(kept, licensed=answer))  # type: ignore[arg-type]  # one of these
    return ""


def _use_product(records: Records, number: int, fields: Fields, which: str) -> str:
    """Fill in one of the user's own products; what is in the form is kept first."""
    treatment, _, name = which.partition(":")
    kept = _filled_in(records, number, treatment, fields)
    found = [product for product in records.own_products() if product.name == name]
    if not found:
        raise FormError("That product is no longer on your list; choose another, or fill it in.")
    records.change_treatment(with_product(kept, 0, found[0]))
    return f"{name}: filled in from your list. Check it against the label in your hand."


def _amend(records: Records, number: int, fields: Fields, which: str) -> str:
    changed = _filled_in(records, number, which, fields)
    asked = {doubt.key for doubt in records.asked(changed.id, changed=changed)}
    answers = {key: text for key, text in _answers(fields).items() if key in asked}
    records.amend("treatment", changed.id, changed, one(fields, "who"), one(fields, "reason"), answers)
    return "Amended; the earlier version is kept."


def _sign_visit(records: Records, number: int, fields: Fields, which: str) -> str:
    refuse_unseen(fields, records.current("visit", number).record)
    records.sign("visit", number, one(fields, "who"))
    return "The visit is signed."


def _confirm(records: Records, number: int, fields: Fields, which: str) -> str:
    record: Any = records.current("visit", number).record
    refuse_unseen(fields, record)
    who = one(fields, "by")
    if not who:
        raise FormError("Who confirms it? Give a name.")
    for finding in record.findings:
        if finding.species and not finding.confirmed_by:
            records.confirm_finding(finding.id, who)
    return f"Confirmed by {who}."


def _new(records: Records, number: int, fields: Fields, which: str) -> str:
    treatment = replace(records.new_treatment(number), chemical=which != "by_hand")
    records.add_treatment(treatment)
    return "Fill in what was done."


def _another(records: Records, number: int, fields: Fields, which: str) -> str:
    """One more product or reading: what is in the form is kept first."""
    what, treatment = which.split(":", 1) if ":" in which else ("", which)
    kept = _filled_in(records, number, treatment, fields)
    if what == "product":
        kept = replace(kept, products=(*kept.products, Product(name="next product")))
    else:
        kept = replace(kept, weather=(*kept.weather, Reading(notes="later")))
    records.change_treatment(kept)
    return ""


def _follow_up(records: Records, number: int, fields: Fields, which: str) -> str:
    what = one(fields, "what")
    if not what:
        raise FormError("What needs checking again? Write it in a few words.")
    day = read_day(fields, "due")
    records.add_follow_up(FollowUp(site=records.visit(number).site, due=day, what=what, visit=number))
    return f"Noted for {day_text(day)}."


def finish_follow_up(records: Records, fields: Fields, which: str) -> str:
    """Write down that it was looked at today; a sentence on it. Raises RecordsError where there is none."""
    item = records.finish_follow_up(row_number(which, "follow-up"), date.today(), one(fields, "outcome"))
    return f"Done: {item.what}{f', {item.outcome}' if item.outcome else ''}."


def reopen_follow_up(records: Records, which: str) -> str:
    """It is still to be looked at; a sentence on it. Raises RecordsError where there is none."""
    return f"To be looked at again: {records.reopen_follow_up(row_number(which, 'follow-up')).what}."


ACTIONS: dict[str, Callable[[Records, int, Fields, str], str | Outcome]] = {
    "keep_treatment": _keep,
    "sign_treatment": _sign_treatment,
    "amend": _amend,
    "licensed": _licensed,
    "use_product": _use_product,
    "sign_visit": _sign_visit,
    "confirm": _confirm,
    "new_treatment": _new,
    "another": _another,
    "follow_up": _follow_up,
    "done": lambda records, number, fields, which: finish_follow_up(records, fields, which),
    "undo": lambda records, number, fields, which: reopen_follow_up(records, which),
}
