"""Step 8: the record: whose place it is, when, and who; then what was done, what is due, and the signature."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time
from typing import Any

from app.present.finding import day_text
from app.records import (
    Client,
    KeptPhoto,
    Reading,
    Records,
    Site,
    Treatment,
    Visit,
    open_records,
)
from app.services.collection import labeller
from app.services.visit_keeping import finding_to_keep, plan_to_keep
from app.web import visit_page as visit
from app.web.context import Context
from app.web.draft import Draft, Step
from app.web.finding_page import plan_species
from app.web.frame import Fields, FormError, one
from app.web.lawn_page import known_sites
from app.web.plan_page import chosen, made_plan
from app.web.treatment_form import read_day
from model.control import JudgedOption

STEP = Step("Record", 80)


def show(context: Context, draft: Draft) -> dict[str, Any]:
    """What the step shows: whose place it is, or the visit once it is kept."""
    with open_records() as records:
        number = draft.record.get("visit")
        last = records.visits()[:1]
        who, site = (last[0].who if last else "") or labeller(""), draft.lawn.get("site", "")
        given = {"day": date.today().isoformat(), "who": who, "site": site, **draft.record.get("told", {})}
        option = chosen(context, draft) if draft.choice and plan_species(context, draft) else None
        return {
            "sites": known_sites(),
            "given": given,
            "states": [(key, state.name) for key, state in context.control.states.items()],
            "state": draft.lawn.get("state", ""),
            "visit": visit.show(context, records, number) if number else None,
            "option": option.name if option is not None else "",
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
        site = records.site(int(given["site"])) if given["site"] else _new_site(records, draft, fields)
        kept = records.add_visit(Visit(site.id, day, given["who"], given["purpose"], given["notes"]))
        for shot in draft.shots:
            if shot.file:
                sha256 = records.store_photo(context.drafts.photos(draft.id) / shot.file)
                records.add_photo(KeptPhoto(kept.id, sha256, "before"))
        _keep_finding(context, draft, records, kept)
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


def _keep_finding(context: Context, draft: Draft, records: Records, kept: Visit) -> None:
    records.add_finding(finding_to_keep(kept.id, context.finding(draft), draft.answers, draft.visible))


def _keep_plan(context: Context, draft: Draft, records: Records, kept: Visit) -> None:
    """The plan, and a treatment to fill in where something was chosen; a rate only as the user typed it."""
    if not plan_species(context, draft) or not draft.lawn:
        return
    made, option = made_plan(context, draft), chosen(context, draft) if draft.choice else None
    records.add_plan(plan_to_keep(kept.id, made, context.control, option))
    if option is not None and option.method != "leave":
        records.add_treatment(_treatment(context, draft, records.new_treatment(kept.id), option))


def _treatment(context: Context, draft: Draft, new: Treatment, option: JudgedOption) -> Treatment:
    names = [context.key.flora.species[s] for s in plan_species(context, draft)]
    lawn = draft.lawn.get("lawn", "unknown")
    chemical = bool(option.actives)
    return replace(
        new,
        chemical=chemical,
        state=new.state or draft.lawn.get("state", ""),
        method=option.title,
        target=" or ".join(f"{plant.common_name} ({plant.scientific_name})" for plant in names),
        plants=f"{context.control.lawns[lawn].name} lawn" if draft.lawn.get("place") == "lawn" else "",
        situation={"lawn": "home lawn", "bed": "garden bed", "paving": "paving"}.get(draft.lawn.get("place", ""), ""),
        weather=_as_read(draft) if chemical else (),
        notes=_labels_read(context, draft, option),
    )


def _labels_read(context: Context, draft: Draft, option: JudgedOption) -> str:
    """The labels that the user read, without which the plan would have had these actives wait on this lawn."""
    if draft.lawn.get("place", "lawn") != "lawn":
        return ""
    lawn = context.control.lawns[draft.lawn.get("lawn", "unknown")].name
    read = [f"{active.name} on {lawn}: {active.label}" for active in option.actives if active.label is not None]
    return "\n".join(read)


def _as_read(draft: Draft) -> tuple[Reading, ...]:
    """The weather as it was typed at the place, where it was."""
    typed = draft.weather
    if not typed.get("temperature"):
        return ()
    hour = str(typed.get("hour", ""))
    at = time.fromisoformat(hour.zfill(5)) if hour.count(":") == 1 else None
    temperature, humidity, wind = (float(typed[name]) for name in ("temperature", "humidity", "wind"))
    return (Reading(at=at, temperature=temperature, humidity=humidity, wind_speed=wind),)


def on_visit(do: str) -> Any:
    """An action of the visit's page, as an action of this step."""

    def action(context: Context, draft: Draft, fields: Fields, which: str) -> tuple[Draft, list[str]]:
        notice = visit.act(context, int(draft.record.get("visit", 0)), do, fields, which)
        return draft, [notice] if notice else []

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


ACTIONS: dict[str, Any] = {"keep": keep, **{do: on_visit(do) for do in visit.ACTIONS}}
