"""Step 8: the record: whose place it is, when, and who; then what was done, what is due, and the signature."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from datetime import date
from typing import Any

from app.present.finding import day_text
from app.present.naming import GIVEN
from app.records import (
    Client,
    KeptFinding,
    Profile,
    Records,
    Site,
    Treatment,
    Visit,
    open_records,
)
from app.services.objections import actives_named
from app.services.own_products import from_shelf
from app.services.visit_keeping import finding_to_keep, keep_photos, plan_to_keep
from app.web import visit_page as visit
from app.web.context import Context
from app.web.draft import Draft, Step
from app.web.finding_page import plan_species
from app.web.frame import Fields, FormError, one, row_number
from app.web.lawn_page import known_sites
from app.web.new_draft import visit_title
from app.web.plan_page import chosen, made_plan
from app.web.spray_page import judged
from app.web.spraying import Spraying, spraying_of
from app.web.treatment_form import read_day
from model.control import JudgedOption
from model.errors import SwardkeyError

STEP = Step("Record", 80)


def show(context: Context, draft: Draft) -> dict[str, Any]:
    """What the step shows: whose place it is, or the visit once it is kept."""
    with open_records() as records:
        number = draft.record.get("visit")
        last = records.visits()[:1]
        who = records.profile().applicator or (last[0].who if last else "")
        site, day = draft.lawn.get("site", ""), draft.taken or date.today().isoformat()
        given = {"day": day, "who": who, "site": site, **draft.record.get("told", {})}
        option = chosen(context, draft) if draft.choice and plan_species(context, draft) else None
        return {
            "sites": known_sites(),
            "known": records.profile() != Profile(),
            "given": given,
            "states": context.lists["states"],
            "state": draft.lawn.get("state", ""),
            "visit": visit.show(context, records, number, draft.record.get("tried", "")) if number else None,
            "option": option.name if option is not None else spraying_of(context, draft).mix if draft.of_visit else "",
            "of_visit": visit_title(draft.of_visit) if draft.of_visit else "",
            "has_plan": bool(plan_species(context, draft)) and bool(draft.lawn),
        }


def keep(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Keep the visit with its photos, finding, plan and what was chosen. Raises FormError for what is missing."""
    if draft.record.get("visit"):
        return draft
    given = {name: one(fields, name) for name in ("day", "who", "site", "purpose", "notes")}
    if not given["site"] and not (one(fields, "client") and one(fields, "address")):
        raise FormError("Choose a site, or give the client's name and the address.")
    if not given["who"]:
        raise FormError("Who made the visit? Give a name.")
    day = read_day(fields, "day")
    # All of it or nothing, with the word that the draft is a visit now.
    with open_records() as records, records.together():
        site = records.site(row_number(given["site"], "site")) if given["site"] else _new_site(records, draft, fields)
        kept = records.add_visit(Visit(site.id, day, given["who"], given["purpose"], given["notes"]))
        _keep_photos(context, draft, records, kept.id)
        _keep_finding(context, draft, records, kept.id)
        _keep_plan(context, draft, records, kept)
        after = replace(draft, record={**draft.record, "visit": kept.id, "told": given})
        records.save_draft(after.as_json(), draft.id)
        records.end_draft(draft.id, kept.id)
    return after


def _new_site(records: Records, draft: Draft, fields: Fields) -> Site:
    client = records.add_client(
        Client(name=one(fields, "client"), phone=one(fields, "phone"), email=one(fields, "email"))
    )
    return records.add_site(
        Site(
            client=client.id,
            address=one(fields, "address"),
            state=one(fields, "state"),  # type: ignore[arg-type]  # checked with the site
            lawn=draft.lawn.get("lawn", "unknown"),
            near=tuple(draft.lawn.get("near", ())),
        )
    )


def _keep_photos(context: Context, draft: Draft, records: Records, visit: int) -> None:
    folder = context.drafts.photos(draft.id)
    keep_photos(records, visit, (folder / shot.file for shot in draft.shots if shot.file))


def _keep_finding(context: Context, draft: Draft, records: Records, visit: int) -> None:
    if draft.given:
        records.add_finding(_given(visit, draft))
        return
    records.add_finding(finding_to_keep(visit, context.finding(draft), draft.answers, draft.visible))


def _given(visit: int, draft: Draft) -> KeptFinding:
    """The name that a person gave without photos or questions; where it means several plants, each is as likely."""
    share = 1 / len(draft.given)
    found = {"candidates": [{"species": species, "probability": share} for species in draft.given]}
    if len(draft.given) > 1:
        return KeptFinding(visit, found, "undecided")
    return KeptFinding(visit, found, GIVEN, draft.given[0])


def _keep_plan(context: Context, draft: Draft, records: Records, kept: Visit) -> None:
    """The plan, and a treatment to fill in where something was chosen; a rate only as the user typed it."""
    if not plan_species(context, draft) or not draft.lawn:
        return
    made, option = made_plan(context, draft), chosen(context, draft) if draft.choice else None
    records.add_plan(plan_to_keep(kept.id, made, context.control, option))
    if option is not None and option.method != "leave":
        treatment = _treatment(context, draft, records.new_treatment(kept.id), option)
        records.add_treatment(from_shelf(context.control, records.own_products(), treatment))


def _treatment(context: Context, draft: Draft, new: Treatment, option: JudgedOption) -> Treatment:
    lawn = draft.lawn.get("lawn", "unknown")
    chemical = bool(option.actives)
    treatment = replace(
        new,
        chemical=chemical,
        state=new.state or draft.lawn.get("state", ""),
        method=option.title,
        target=_target(context, draft),
        plants=f"{context.control.lawns[lawn].name} lawn" if draft.lawn.get("place") == "lawn" else "",
        situation={"lawn": "home lawn", "bed": "garden bed", "paving": "paving"}.get(draft.lawn.get("place", ""), ""),
        notes=_labels_read(context, draft, option),
    )
    return _with_check(context, draft, spraying_of(context, draft).into(treatment)) if chemical else treatment


def _with_check(context: Context, draft: Draft, treatment: Treatment) -> Treatment:
    """The treatment with what the spray check said of the weather, beside the reading that it judged."""
    if len(treatment.weather) != 1 or treatment.weather[0].notes:
        return treatment
    with suppress(SwardkeyError, ValueError):  # it cannot be judged: the reading alone is kept
        said = f"spray check: {judged(context, draft).word}"
        treatment = replace(treatment, weather=(replace(treatment.weather[0], notes=said),))
    return treatment


def _target(context: Context, draft: Draft) -> str:
    """The weeds that it is for, by both names."""
    plants = (context.key.flora.species[species] for species in plan_species(context, draft))
    return (" and " if draft.together else " or ").join(f"{p.common_name} ({p.scientific_name})" for p in plants)


def _labels_read(context: Context, draft: Draft, option: JudgedOption) -> str:
    """The labels that the user read, without which the plan would have had these actives wait on this lawn."""
    if draft.lawn.get("place", "lawn") != "lawn":
        return ""
    lawn = context.control.lawns[draft.lawn.get("lawn", "unknown")].name
    read = [f"{active.name} on {lawn}: {active.label}" for active in option.actives if active.label is not None]
    return "\n".join(read)


def keep_in_visit(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Add what was found and planned to the visit that it is for, into its open record. Raises SwardkeyError."""
    option = chosen(context, draft) if draft.choice else None
    spraying, further = spraying_of(context, draft), draft.way == "name"
    if option is None and not spraying.actives and not further:
        raise FormError("First choose what will be done, in the plan, or the active in the spray check.")
    with open_records() as records, records.together():
        if further:
            _keep_photos(context, draft, records, draft.of_visit)
            _keep_finding(context, draft, records, draft.of_visit)
        if option is not None:
            records.add_plan(plan_to_keep(draft.of_visit, made_plan(context, draft), context.control, option))
        unsigned = [t.record for t in records.treatments(visit=draft.of_visit) if not t.is_signed]
        same = [t for t in unsigned if isinstance(t, Treatment) and _is_it(context, t, spraying)]
        new = replace(records.new_treatment(draft.of_visit), day=date.today())
        if same:
            weather = () if spraying.weather is not None else same[0].weather
            target = _target(context, draft) if draft.together else same[0].target
            changed = replace(same[0], day=date.today(), weather=weather, target=target)
            records.change_treatment(spraying.into(changed))
        elif option is not None or spraying.actives:
            sprayed = _with_check(context, draft, spraying.into(new))
            made = _treatment(context, draft, new, option) if option is not None else sprayed
            records.add_treatment(from_shelf(context.control, records.own_products(), made))
        after = replace(draft, record={**draft.record, "visit": draft.of_visit})
        records.save_draft(after.as_json(), draft.id)
        records.end_draft(draft.id, draft.of_visit)
    return after


def _is_it(context: Context, waiting: Treatment, spraying: Spraying) -> bool:
    """Whether a treatment that is still to be signed is the spray that is meant."""
    named = set(actives_named(context.control, waiting.products))
    return waiting.chemical and (not named or named == set(spraying.actives))


def on_visit(do: str) -> Any:
    """An action of the visit's page, as an action of this step."""

    def action(context: Context, draft: Draft, fields: Fields, which: str) -> tuple[Draft, list[str]]:
        notices, tried = visit.act(context, int(draft.record.get("visit", 0)), do, fields, which)
        return replace(draft, record={**draft.record, "tried": tried}), notices

    return action


def overdue(context: Context) -> list[dict[str, Any]]:
    """Follow-ups that are due, the longest overdue first, with where that is."""
    with open_records() as records:
        found = []
        for item in records.overdue(date.today()):
            site = records.site(item.site)
            where = f"{records.client(site.client).name}, {site.address}"
            found.append({"site": item.site, "what": item.what, "where": where, "due": day_text(item.due)})
        return found


ACTIONS: dict[str, Any] = {"keep": keep, "keep_in_visit": keep_in_visit, **{do: on_visit(do) for do in visit.ACTIONS}}
