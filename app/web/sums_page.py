"""The sums of step 7: tank, spot, granules, output, nitrogen. The rate is typed by the user, from the label in hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from app.present.sums import sum_blocks
from app.web.context import Context
from app.web.draft import Draft
from app.web.frame import Fields, FormError, one
from app.web.plan_page import to_spray
from model.control import judge_use
from model.errors import SwardkeyError
from model.mix import (
    MixError,
    Result,
    feed,
    mix_spot,
    output_from_area,
    output_from_speed,
    plan_tank,
    read_analysis,
    read_quantity,
    read_rate,
    spread,
)
from model.mix.unit import (
    KM_PER_HOUR,
    LITRES,
    LITRES_PER_HECTARE,
    LITRES_PER_MINUTE,
    METRES,
    SQUARE_METRES,
    Measure,
    remarks,
)


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
        result = WORK[kind](typed)
    except MixError as error:
        return {"fault": str(error)}
    asked = [doubt.text for doubt in result.doubts if doubt.asks]
    if asked and typed.get("sure") != "yes":
        return {"asked": asked}
    notes = [doubt.text for doubt in (*result.doubts, *remarks(*typed.values()))]
    return {"blocks": sum_blocks(result, notes)}


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


def _amount(typed: dict[str, str], name: str, measure: Measure) -> float:
    return float(_read(typed, name, lambda text: read_quantity(text, measure)))


def _read(typed: dict[str, str], name: str, reader: Callable[[str], Any]) -> Any:
    labels = {f.name: f.label for _, wanted in SUMS.values() for f in wanted}
    try:
        return reader(typed[name])
    except MixError as error:
        raise MixError(f"{labels[name]}: {error}") from None


def _area(typed: dict[str, str]) -> float | None:
    return _amount(typed, "area", SQUARE_METRES) if typed["area"] else None


def _tank(typed: dict[str, str]) -> Result:
    output = _amount(typed, "output", LITRES_PER_HECTARE)
    return plan_tank(_amount(typed, "tank", LITRES), output, _read(typed, "rate", read_rate), _area(typed))


def _spot(typed: dict[str, str]) -> Result:
    return mix_spot(_amount(typed, "volume", LITRES), _read(typed, "rate", read_rate))


def _granule(typed: dict[str, str]) -> Result:
    return spread(_read(typed, "rate", read_rate), _area(typed))


def _by_area(typed: dict[str, str]) -> Result:
    return output_from_area(_amount(typed, "litres", LITRES), _amount(typed, "area", SQUARE_METRES))


def _by_speed(typed: dict[str, str]) -> Result:
    speed, swath = _amount(typed, "speed", KM_PER_HOUR), _amount(typed, "swath", METRES)
    return output_from_speed(_amount(typed, "flow", LITRES_PER_MINUTE), speed, swath)


def _nitrogen(typed: dict[str, str]) -> Result:
    return feed(_read(typed, "analysis", read_analysis), _read(typed, "rate", read_rate), _area(typed))


WORK: dict[str, Callable[[dict[str, str]], Result]] = {
    "tank": _tank,
    "spot": _spot,
    "granule": _granule,
    "by_area": _by_area,
    "by_speed": _by_speed,
    "nitrogen": _nitrogen,
}
