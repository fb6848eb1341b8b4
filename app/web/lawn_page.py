"""Step 5: this lawn: the grass, the place, how much is weed, when, and what is near."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any, get_args

from app.figures.telling import telling
from app.records import open_records
from app.services.labels import labels_read
from app.web.context import Context
from app.web.draft import Draft, Step
from app.web.finding_page import plan_species
from app.web.frame import Fields, FormError, month_of, number, one, row_number, several
from model.control import Case
from model.control.case import check_case
from model.control.facts import Near, Place, Stage
from model.flora.name import PlantNames

STEP = Step("This lawn", 50)

NEAR_WORDS = {
    "pond": "pond, creek or drain",
    "edibles": "vegetables or fruit",
    "bees": "bees or hives",
    "grazing": "grazing animals",
}
STAGE_WORDS = {"young": "young plant", "seeding": "in seed", "flowering": "in flower"}


def show(context: Context, draft: Draft) -> dict[str, Any]:
    """What the step shows."""
    control = context.control
    groups: dict[int, list[str]] = {}
    for name, active in control.actives.items():
        if active.group:
            groups.setdefault(active.group, []).append(name)
    return {
        **context.lists,
        "grasses": grasses(context),
        "places": [(place, place) for place in get_args(Place)],
        "stages": [(stage, STAGE_WORDS.get(stage, stage)) for stage in get_args(Stage)],
        "near": near_words(),
        "groups": sorted(groups.items()),
        "given": {**defaults(draft), **draft.lawn},
        "plan_for": [context.name(species) for species in plan_species(context, draft)],
        "asks_weed": draft.way == "known",
        "weed": " or ".join(context.name(species) for species in draft.given),
        "weeds": sorted({name for s in control.treatments for name in control.flora.species[s].common_names}),
        "sites": known_sites(),
    }


def grasses(context: Context) -> list[dict[str, Any]]:
    """The lawn grasses on file by name, each with drawings of what tells it from the others while it is mown."""
    lawns = [lawn for lawn in context.control.lawns.values() if lawn.species]
    among = tuple(lawn.species or "" for lawn in lawns)
    found = [(lawn, telling(context.key, lawn.species or "", among)) for lawn in lawns]
    return [{"name": lawn.name, "species": lawn.species, "sketches": sketches} for lawn, sketches in found if sketches]


def near_words() -> list[tuple[str, str]]:
    """What may be nearby: its id and its words."""
    return [(thing, NEAR_WORDS.get(thing, thing)) for thing in get_args(Near)]


def known_sites() -> list[tuple[str, str]]:
    """The places in the records."""
    with open_records() as records:
        names = {client.id: client.name for client in records.clients()}
        return [(str(site.id), f"{names[site.client]}, {site.address}") for site in records.sites()]


def from_site(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Take over what the records know of a place: grass, state, what is near, and the groups used there."""
    site_id = one(fields, "site")
    if not site_id:
        raise FormError("Choose a site first.")
    typed = _typed(draft, fields) if "place" in fields else {}
    known = known_of_site(context, row_number(site_id, "site"))
    if known["lawn"] != "buffalo":
        known["cultivar"] = ""
    return replace(draft, lawn={**defaults(draft), **draft.lawn, **typed, **known})


def known_of_site(context: Context, number: int) -> dict[str, Any]:
    """What the records know of a place, as the form has it. Raises RecordsError where there is no such place."""
    with open_records() as records:
        site, used = records.site(number), records.groups_used(number)
    known = known_to_advice(context, lawn=site.lawn, state=site.state, near=site.near, used=used)
    return known | {"site": str(number), "area": site.area_m2 or ""}


def known_to_advice(context: Context, **given: Any) -> dict[str, Any]:
    """Fields of a case, as the form has them; a lawn grass, group or thing nearby that is not known is left out."""
    control = context.control
    groups = {active.group for active in control.actives.values()}
    return {name: "" if value is None else value for name, value in given.items()} | {
        "lawn": given["lawn"] if given["lawn"] in control.lawns else "unknown",
        "near": [thing for thing in given["near"] if thing in get_args(Near)],
        "used": [group for group in given["used"] if group in groups],
    }


def defaults(draft: Draft) -> dict[str, Any]:
    """What is taken until something is entered."""
    return {
        "site": "",
        "area": "",
        "lawn": "unknown",
        "place": "lawn",
        "cover": "",
        "month": (not draft.taken and draft.month) or date.today().month,  # of the work, not of the photo
        "stage": "",
        "state": "",
        "near": [],
        "used": [],
        "cultivar": "",
    }


def make_plan(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """On to the plan, once what was entered makes sense. Raises AnswerError or FormError where it does not."""
    weather = {name: value for name, value in draft.weather.items() if name not in ("active", "rain_fast", "state")}
    after = replace(draft, lawn=_typed(draft, fields), choice="", weather=weather)
    if draft.way == "known" and "weed" in fields:
        after = replace(after, given=weeds_named(context, draft, one(fields, "weed")))
    case = case_of(context, after)
    check_case(case, context.control)
    return replace(after, step="plan", called=" or ".join(context.name(species) for species in case.species))


def weeds_named(context: Context, draft: Draft, text: str) -> tuple[str, ...]:
    """The weeds that a name means. Raises FormError where none was given, AnswerError where it is not known."""
    if not text:
        raise FormError("Which weed is it? Give its name. If you don't know it, start again with Name a weed.")
    if text == " or ".join(context.name(species) for species in draft.given):
        return draft.given
    return PlantNames(context.control.flora).the_plants(text)


def _typed(draft: Draft, fields: Fields) -> dict[str, Any]:
    """What stands in the form. Raises FormError for a number that is none."""
    return {
        "site": one(fields, "site"),
        "area": draft.lawn.get("area", "") if one(fields, "site") == draft.lawn.get("site") else "",
        "lawn": one(fields, "lawn") or "unknown",
        "place": one(fields, "place") or "lawn",
        "cover": number(fields, "cover", "Cover"),
        "month": month_of(fields) or defaults(draft)["month"],
        "stage": one(fields, "stage"),
        "state": one(fields, "state"),
        "near": list(several(fields, "near")),
        "cultivar": cultivar_of(fields),
        "used": [int(g) for g in several(fields, "used") if g.isascii() and g.isdigit()],
    }


def cultivar_of(fields: Fields) -> str:
    """The variety, which counts where the lawn is buffalo; "" elsewhere."""
    return one(fields, "cultivar") if one(fields, "lawn") == "buffalo" else ""


def case_of(context: Context, draft: Draft) -> Case:
    """The case of a draft, as the plan takes it."""
    given = {**defaults(draft), **draft.lawn}
    return Case(
        species=plan_species(context, draft),
        month=int(given["month"]),
        lawn=given["lawn"],
        place=given["place"],
        cover=given["cover"] if isinstance(given["cover"], int | float) else None,
        stage=given["stage"] or None,
        state=given["state"] or None,
        near=tuple(given["near"]),
        used=tuple(given["used"]),
        cultivar=given["cultivar"] or None,
        labels=labels_read(),
        together=draft.together,
    )


ACTIONS = {"make_plan": make_plan, "from_site": from_site}
