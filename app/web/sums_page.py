"""The sums of step 7: tank, spot, granules, output, nitrogen. The rate is typed by the user, from the label in hand."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any

from app.present.sums import sum_blocks
from app.services import mixing
from app.services.mixing import Form, notes_on
from app.web.context import Context
from app.web.draft import Draft
from app.web.frame import Fields, FormError, one
from app.web.plan_page import to_spray
from model.control import Use, judge_use
from model.errors import SwardkeyError
from model.mix import MixError, Result


@dataclass(frozen=True)
class Field:
    """One field of a sum: what it is called, in which unit a bare number is read, and a hint."""

    name: str
    label: str
    unit: str = ""
    hint: str = ""
    needed: bool = True


@dataclass(frozen=True)
class Sum:
    """A sum: its name, its fields, and which of the sums in app.services.mixing works it out."""

    title: str
    work: str
    fields: tuple[Field, ...]

    def result(self, typed: dict[str, str]) -> Result:
        """The result of what was typed. Raises MixError naming the field."""
        given = {field.name: typed[field.name] for field in self.fields if typed.get(field.name)}
        labels = {field.name: field.label for field in self.fields}
        return mixing.SUMS[self.work](Form(given, lambda name, text: labels[name]))


RATE_FOR_AREA = Field("rate", "Rate on the label", hint="amount and area, both with their unit")
RATE_FOR_WATER = replace(RATE_FOR_AREA, hint="amount and water, both with their unit, or a ratio")
TANK, OUTPUT = Field("tank", "Tank", "L"), Field("output", "Measured output", "L/ha")
AREA, TEST_AREA = Field("area", "Area", "m\u00b2", needed=False), Field("area", "Test area", "m\u00b2")
WATER, USED = Field("volume", "Water", "L"), Field("litres", "Litres used", "L")
FLOW, SPEED = Field("flow", "Flow of all nozzles", "L/min"), Field("speed", "Speed", "km/h")
SWATH, ANALYSIS = Field("swath", "Swath", "m"), Field("analysis", "Analysis on the bag", hint="N-P-K, three numbers")
SUMS = {
    "tank": Sum("Tank mix for an area", "tank", (TANK, OUTPUT, RATE_FOR_AREA, AREA)),
    "spot": Sum("Spot mix in water", "spot", (WATER, RATE_FOR_WATER)),
    "granule": Sum("Granules", "granule", (RATE_FOR_AREA, AREA)),
    "by_area": Sum("Output, from a test area", "output", (USED, TEST_AREA)),
    "by_speed": Sum("Output, from walking speed", "output", (FLOW, SPEED, SWATH)),
    "nitrogen": Sum("Nitrogen in a feed", "nitrogen", (ANALYSIS, RATE_FOR_AREA, AREA)),
}


def show(context: Context, draft: Draft) -> dict[str, Any]:
    """The sums with what was typed, and the result of each that was worked out."""
    use = None
    with suppress(SwardkeyError):  # an active that is not known: the step of spraying says so
        use, _ = to_spray(context, draft)
    return {
        "sums": SUMS,
        "typed": draft.sums,
        "results": {kind: result_of(kind, draft.sums[kind]) for kind in SUMS if kind in draft.sums},
        "known": {"area": f"{draft.lawn['area']:g}"} if draft.lawn.get("area") else {},
        "in_tank": in_tank(context, use),
        "not_here": ruled_out(context, use),
    }


def in_tank(context: Context, use: Use | None) -> str:
    """Every active that is going to be sprayed, with its group; "" where none is known."""
    groups = {name: context.control.actives[name].group for name in use.actives} if use is not None else {}
    return " + ".join(f"{name} (group {group})" if group else name for name, group in groups.items())


def ruled_out(context: Context, use: Use | None) -> str:
    """Why what is to be sprayed must not be used in this case, in one line; "" where nothing rules it out."""
    reasons = judge_use(context.control, use) if use is not None else ()
    why = dict.fromkeys(reason.text for reason in reasons if reason.suited == "no")
    return f"Not in this case: {' '.join(why)} The sums are still worked out." if why else ""


def result_of(kind: str, typed: dict[str, str]) -> dict[str, Any]:
    """A sum from what was typed; a slip is asked about until it is said to be right. Never raises for bad input."""
    try:
        result = SUMS[kind].result(typed)
    except MixError as error:
        return {"fault": str(error)}
    asked = [doubt.text for doubt in result.doubts if doubt.asks]
    if asked and typed.get("sure") != "yes":
        return {"asked": asked}
    return {"result": result, "blocks": sum_blocks(result, notes_on(result, *typed.values()))}


def work_out(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Keep what was typed for one sum, so that it is worked out."""
    if which not in SUMS:
        return draft
    wanted = SUMS[which].fields
    missing = [field.label for field in wanted if field.needed and not one(fields, field.name)]
    if missing:
        raise FormError(f"{SUMS[which].title}: fill in {' and '.join(m.lower() for m in missing)} first.")
    typed = {name: one(fields, name) for name in (*(field.name for field in wanted), "sure")}
    return replace(draft, sums={**draft.sums, which: typed, "last": which})
