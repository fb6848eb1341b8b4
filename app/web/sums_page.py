"""The sums of step 7: tank, spot, granules, output, nitrogen. The rate is typed by the user, from the label in hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from app.present.sums import sum_blocks
from app.web.context import Context
from app.web.draft import Draft
from app.web.frame import Fields, FormError, one
from app.web.plan_page import to_spray
from model import mix
from model.control import judge_use
from model.errors import SwardkeyError
from model.mix import unit


@dataclass(frozen=True)
class Field:
    """One field of a sum: what it is called, how it is read, the unit of a bare number, and a hint."""

    name: str
    label: str
    read: Callable[[str], Any]
    unit: str = ""
    hint: str = ""
    needed: bool = True


@dataclass(frozen=True)
class Sum:
    """A sum: its name, its fields, and what works it out from them in this order."""

    title: str
    fields: tuple[Field, ...]
    work: Callable[..., mix.Result]

    def result(self, typed: dict[str, str]) -> mix.Result:
        """The result of what was typed. Raises MixError naming the field."""
        return self.work(*(self._value(field, typed[field.name]) for field in self.fields))

    def _value(self, field: Field, text: str) -> Any:
        try:
            return field.read(text) if text or field.needed else None
        except mix.MixError as error:
            raise mix.MixError(f"{field.label}: {error}") from None


def quantity(name: str, label: str, symbol: str, measure: unit.Measure, needed: bool = True) -> Field:
    """A field for an amount."""
    return Field(name, label, partial(mix.read_quantity, measure=measure), symbol, needed=needed)


RATE_FOR_AREA = Field("rate", "Rate on the label", mix.read_rate, hint="amount and area, both with their unit")
RATE_FOR_WATER = replace(RATE_FOR_AREA, hint="amount and water, both with their unit, or a ratio")
AREA = quantity("area", "Area", "m\u00b2", unit.SQUARE_METRES, needed=False)
TANK = quantity("tank", "Tank", "L", unit.LITRES)
OUTPUT = quantity("output", "Measured output", "L/ha", unit.LITRES_PER_HECTARE)
WATER = quantity("volume", "Water", "L", unit.LITRES)
USED = quantity("litres", "Litres used", "L", unit.LITRES)
TEST_AREA = quantity("area", "Test area", "m\u00b2", unit.SQUARE_METRES)
FLOW = quantity("flow", "Flow of all nozzles", "L/min", unit.LITRES_PER_MINUTE)
SPEED = quantity("speed", "Speed", "km/h", unit.KM_PER_HOUR)
SWATH = quantity("swath", "Swath", "m", unit.METRES)
ANALYSIS = Field("analysis", "Analysis on the bag", mix.read_analysis, hint="N-P-K, three numbers")
SUMS = {
    "tank": Sum("Tank mix for an area", (TANK, OUTPUT, RATE_FOR_AREA, AREA), mix.plan_tank),
    "spot": Sum("Spot mix in water", (WATER, RATE_FOR_WATER), mix.mix_spot),
    "granule": Sum("Granules", (RATE_FOR_AREA, AREA), mix.spread),
    "by_area": Sum("Output, from a test area", (USED, TEST_AREA), mix.output_from_area),
    "by_speed": Sum("Output, from walking speed", (FLOW, SPEED, SWATH), mix.output_from_speed),
    "nitrogen": Sum("Nitrogen in a feed", (ANALYSIS, RATE_FOR_AREA, AREA), mix.feed),
}


def show(context: Context, draft: Draft) -> dict[str, Any]:
    """The sums with what was typed, and the result of each that was worked out."""
    return {
        "sums": SUMS,
        "typed": draft.sums,
        "results": {kind: result_of(kind, draft.sums[kind]) for kind in SUMS if kind in draft.sums},
        "not_here": ruled_out(context, draft),
    }


def ruled_out(context: Context, draft: Draft) -> str:
    """Why what is to be sprayed must not be used in this case, in one line; empty where nothing says no."""
    try:
        use, _ = to_spray(context, draft)
    except SwardkeyError:
        return ""
    why = dict.fromkeys(reason.text for reason in judge_use(context.control, use) if reason.suited == "no")
    return f"Not in this case: {' '.join(why)} The sums are worked out all the same." if why else ""


def result_of(kind: str, typed: dict[str, str]) -> dict[str, Any]:
    """A sum from what was typed; a slip is asked about until it is said to be right. Never raises for bad input."""
    try:
        result = SUMS[kind].result(typed)
    except mix.MixError as error:
        return {"fault": str(error)}
    asked = [doubt.text for doubt in result.doubts if doubt.asks]
    if asked and typed.get("sure") != "yes":
        return {"asked": asked}
    notes = [doubt.text for doubt in (*result.doubts, *unit.remarks(*typed.values()))]
    return {"result": result, "blocks": sum_blocks(result, notes)}


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
