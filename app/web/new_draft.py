"""How a draft starts, by its address: a weed to name, a known weed, a spray check or sums, or a visit on record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any, get_args

from app.present.block import capital
from app.present.finding import day_text
from app.present.plan import option_key
from app.records import open_records
from app.services import visit_papers
from app.services.advice import plan_for
from app.services.visit_papers import decided_option, namings_of, visit_record
from app.web.context import Context
from app.web.draft import Draft, Way
from app.web.frame import row_number
from app.web.lawn_page import case_of, defaults, known_of_site, known_to_advice
from model.errors import AnswerError
from model.flora.name import PlantNames

FIRST: dict[Way, str] = {"name": "photos", "known": "lawn", "check": "spray", "sums": "spray"}


def begin_draft(context: Context, plant: str, address: Mapping[str, str]) -> Draft:
    """A new draft under an id. Raises SwardkeyError for a weed, a place or a visit that is not known."""
    draft = Draft(plant, month=date.today().month)
    way: Any = address.get("way", "")
    if way not in get_args(Way):
        return draft
    draft = replace(draft, way=way, step=FIRST[way])
    if "site" in address:
        known = known_of_site(context, row_number(address["site"], "site"))
        draft = replace(draft, lawn={**defaults(draft), **known})
    if address.get("weed"):
        draft = replace(draft, given=PlantNames(context.control.flora).the_plants(address["weed"]))
    return _of_visit(context, draft, row_number(address["visit"], "visit")) if "visit" in address else draft


def _of_visit(context: Context, draft: Draft, visit: int) -> Draft:
    """A further weed, plan or spray of a visit on record: with its weeds and lawn, in the present month."""
    with open_records() as records:
        record = visit_record(records, visit)
        try:
            found = namings_of(record, context.key)
        except AnswerError:
            found = ()
        case, used = visit_papers.case_of(records, record), records.groups_used(record.site.id)
    given = {name: value for name, value in vars(case).items() if name not in ("species", "labels")}
    lawn = known_to_advice(context, **given | {"month": date.today().month, "stage": None, "used": used})
    lawn |= {"site": str(record.site.id), "area": record.site.area_m2 or ""}
    draft = replace(draft, of_visit=visit, lawn=lawn)
    if not found or draft.way == "name":
        return draft
    weeds = dict.fromkeys(species for naming in found for species in (naming.species, *naming.also))
    draft = replace(draft, given=tuple(weeds), together=len(found) > 1)
    made = plan_for(case_of(context, draft))
    choices = [option_key(option, whose=option in made.only) for option in decided_option(record, made)]
    return replace(draft, choice=choices[0] if choices else "")


def visit_title(visit: int) -> str:
    """A visit on record in words: address and day. Raises RecordsError where there is none."""
    with open_records() as records:
        record = visit_record(records, visit)
        return f"{record.site.address}, {day_text(record.visit.day)}"


def unfinished_title(draft: Draft) -> str:
    """The title of an unfinished draft; "" for a spray check or sums, and for what is saved as a visit."""
    if draft.record.get("visit") or draft.of_visit or draft.way in ("check", "sums"):
        return ""
    return capital(draft.called or "not named yet") if draft.shots or draft.answers or draft.given else ""
