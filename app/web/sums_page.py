"""The sums of step 7: tank, spot, granules, output, nitrogen. The rate is typed by the user, from the label in hand."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from app.services import mixing
from app.services.labels import split_actives
from app.services.mixing import Form, notes_on
from app.web.context import Context
from app.web.draft import Draft
from app.web.frame import Fields, FormError, one
from app.web.lawn_page import case_of
from app.web.plan_page import chosen
from model.control import Use, judge_use
from model.mix import LABEL_FIRST, MixError, Result


@dataclass(frozen=True)
class Field:
    """One field of a sum: what it is called, in which unit a bare number is read, and a hint."""

    name: str
    label: str
    unit: str = ""
    hint: str = ""
    needed: bool = True


RATE_FOR_AREA = Field("rate", "Rate on the label", hint="amount and area, both with their unit")
RATE_FOR_WATER = Field("rate", "Rate on the label", hint="amount and water, both with their unit, or a ratio")
AREA = Field("area", "Area", "m²", needed=False)
SUMS: dict[str, tuple[str, tuple[Field, ...]]] = {
    "tank": (
        "Tank mix for an area",
        (Field("tank", "Tank", "L"), Field("output", "Measured output", "L/ha"), RATE_FOR_AREA, AREA),
    ),
    "spot": ("Spot mix in water", (Field("volume", "Water", "L"), RATE_FOR_WATER)),
    "granule": ("Granules", (RATE_FOR_AREA, AREA)),
    "by_area": ("Output, from a test area", (Field("litres", "Litres used", "L"), Field("area", "Test area", "m²"))),
    "by_speed": (
        "Output, from walking speed",
        (Field("flow", "Flow of all nozzles", "L/min"), Field("speed", "Speed", "km/h"), Field("swath", "Swath", "m")),
    ),
    "nitrogen": (
        "Nitrogen in a feed",
        (Field("analysis", "Analysis on the bag", hint="N-P-K, three numbers"), RATE_FOR_AREA, AREA),
    ),
}


WORK = {kind: mixing.SUMS["output" if kind.startswith("by_") else kind] for kind in SUMS}


def show(context: Context, draft: Draft) -> dict[str, Any]:
    """The sums with what was typed, and the result of each that was worked out."""
    return {
        "sums": SUMS,
        "typed": draft.sums,
        "results": {kind: result_of(kind, draft.sums[kind]) for kind in SUMS if kind in draft.sums},
        "label_first": LABEL_FIRST,
        "not_here": ruled_out(context, draft),
    }


def ruled_out(context: Context, draft: Draft) -> str:
    """Why what is to be sprayed must not be used in this case, in one line; empty where nothing says no."""
    use = _use(context, draft)
    found = judge_use(context.control, use) if use is not None else ()
    why = dict.fromkeys(reason.text for reason in found if reason.suited == "no")
    return f"Not in this case: {' '.join(why)} The sums are worked out all the same." if why else ""


def _use(context: Context, draft: Draft) -> Use | None:
    """What is to be sprayed: the actives told at this step, else those that were chosen; None where none is known."""
    option = chosen(context, draft) if draft.choice else None
    told = draft.weather.get("active", option.mix if option is not None else "")
    names = (context.control.active_named(name) for name in split_actives(told))
    actives = tuple(dict.fromkeys(name for name in names if name is not None))
    if not actives:
        return None
    case = case_of(context, draft)
    case = replace(case, state=draft.weather.get("state", case.state) or None)
    if option is not None and set(actives) == {active.name for active in option.actives}:
        return replace(option.use, state=case.state)
    return Use(
        actives, lawn=case.lawn, cultivar=case.cultivar, place=case.place, month=case.month, state=case.state,
        near=case.near, used=case.used, labels=case.labels,
    )  # fmt: skip


def result_of(kind: str, typed: dict[str, str]) -> dict[str, Any]:
    """A sum from what was typed; a slip is asked about until it is said to be right. Never raises for bad input."""
    try:
        result = sum_of(kind, typed)
    except MixError as error:
        return {"fault": str(error)}
    asked = [doubt.text for doubt in result.doubts if doubt.asks]
    if asked and typed.get("sure") != "yes":
        return {"asked": asked}
    notes = notes_on(result, *typed.values())
    return {"told": result.told, "working": result.working, "notes": notes}


def sum_of(kind: str, typed: dict[str, str]) -> Result:
    """A sum from what was typed. Raises MixError naming the field."""
    given = {name: text for name, text in typed.items() if text and name != "sure"}
    return WORK[kind](Form(given, label_of))


def label_of(name: str, typed: str) -> str:
    """What a field is called on the page."""
    return next(field.label for _, wanted in SUMS.values() for field in wanted if field.name == name)


def work_out(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Keep what was typed for one sum, so that it is worked out."""
    if which not in SUMS:
        return draft
    wanted = SUMS[which][1]
    missing = [f.label for f in wanted if f.needed and not one(fields, f.name)]
    if missing:
        raise FormError(f"{SUMS[which][0]}: fill in {' and '.join(m.lower() for m in missing)} first.")
    typed = {f.name: one(fields, f.name) for f in wanted} | {"sure": one(fields, "sure")}
    return replace(draft, sums={**draft.sums, which: typed, "last": which})
