"""The form of a treatment: every field that a state's record asks for, from a Treatment and back."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, time
from typing import Any, get_args

from app.present.record import GEAR, MORE, OF_PRODUCT
from app.records import Product, Reading, RecordsError, Treatment, missing_fields, union_of_fields
from app.records.fields import Gear
from app.records.law import load_law
from app.web.frame import Fields, FormError, number, one

NUMBERS = ("area_m2", "water_litres", "temperature", "humidity", "wind_speed")
# How a field is filled in; all others are one line of text.
KINDS = {
    "day": "date",
    "gear": "gear",
    **dict.fromkeys(("started", "finished", "at"), "time"),
    **dict.fromkeys(NUMBERS, "number"),
    **dict.fromkeys(("notes", "label_extras", "order_treated", "other_weather", "clippings", "tank_loads"), "long"),
}
WEATHER = ("at", "temperature", "humidity", "wind_speed", "wind_direction")
WEATHER_WORDS = {"at": "Time", "humidity": "Relative humidity, %"}
PARTS = (
    ("Where and what", ("day", "address", "situation", "treated_area", "area_m2", "target", "plants", "method")),
    ("Time and gear", ("started", "finished", "gear", "equipment", "water_litres", "tank_loads", "order_treated")),
    ("Who", ("applicator", "applicator_address", "applicator_contact", "licence", "supervisor", "supervised")),
    ("For whom", ("client", "client_contact", "occupier", "business", "business_address", "business_contact")),
    ("Advice and notes", ("re_entry", "withholding", "clippings", "permit", "other_weather", "label_extras", "notes")),
)
PRODUCT = ("name", "actives", "groups", "rate", "total_amount", "approval_number", "batch", "expiry", "label")
# What work without a chemical is asked for.
BY_HAND = {
    "day", "address", "treated_area", "target", "method", "started", "finished", "applicator", "client", "notes",
}  # fmt: skip
# Shown in any case; what is not asked for, empty and none of these is folded away.
USUAL = BY_HAND | {"gear", "name", "actives", "groups", "rate", "total_amount", "batch", *WEATHER}


@dataclass(frozen=True)
class Entry:
    """One field on the page. ``needed``: the state's record asks for it; ``shown``: not folded away."""

    name: str
    label: str
    value: str
    kind: str
    needed: bool
    missing: bool
    shown: bool


def form(treatment: Treatment) -> dict[str, Any]:
    """What the form shows, with what is needed and what is still missing."""
    lacks, chemical = missing_fields(treatment), treatment.chemical
    entries = _Entries(_needed(treatment), {lack.field for lack in lacks})
    products, readings = treatment.products or (Product(),), treatment.weather or (Reading(),)
    parts = [
        (title, [entries.of(name, treatment) for name in names if chemical or name in BY_HAND | entries.needed])
        for title, names in PARTS
    ]
    shown: dict[str, Any] = {
        "parts": [(title, [entry for entry in part if entry.shown]) for title, part in parts],
        "more": [entry for _, part in parts for entry in part if not entry.shown],
        "products": [],
        "readings": [],
        "gear": [(name, GEAR[name] or "not given") for name in get_args(Gear)],
        "lacks": [lack.text for lack in lacks],
        "may_leave": [],
        "chemical": chemical,
    }
    if chemical:
        shown["products"] = [[entries.of(n, p, f"product-{i}-") for n in PRODUCT] for i, p in enumerate(products)]
        shown["readings"] = [[entries.weather(n, r, i) for n in WEATHER] for i, r in enumerate(readings)]
        if load_law().of(treatment.state).list == "unconfirmed":
            shown["may_leave"] = [(m.field, m.text, treatment.left_out.get(m.field, "")) for m in lacks]
    return shown


def _needed(treatment: Treatment) -> set[str]:
    """What the record of a treatment like this one must have."""
    blank = Treatment(visit=treatment.visit, day=treatment.day, state=treatment.state, chemical=treatment.chemical)
    blank = replace(blank, gear=treatment.gear, outdoors=treatment.outdoors, licence=treatment.licence)
    return {lack.field for lack in missing_fields(blank)} | {"day"}


class _Entries:
    """Makes the fields of one form."""

    def __init__(self, needed: set[str], missing: set[str]) -> None:
        self.needed, self.missing = needed, missing
        self.words = {asked.field: asked.text for asked in union_of_fields()} | MORE | OF_PRODUCT

    def of(self, name: str, owner: Any, prefix: str = "") -> Entry:
        """A field of a treatment, product or reading with its value."""
        label, value, needed = (
            self.words.get(name, name.replace("_", " ")),
            _text(getattr(owner, name)),
            name in self.needed,
        )
        shown = needed or name in USUAL or bool(value)
        kind = KINDS.get(name, "text")
        return Entry(f"{prefix}{name}", _capital(label), value, kind, needed, name in self.missing, shown)

    def weather(self, name: str, reading: Reading, place: int) -> Entry:
        """A field of a reading; only the first is asked for."""
        entry = self.of(name, reading, f"weather-{place}-")
        entry = replace(entry, label=WEATHER_WORDS.get(name, entry.label))
        return entry if place == 0 else replace(entry, needed=False, missing=False)


def _text(value: Any) -> str:
    """A value as it stands in its field."""
    if isinstance(value, time):
        return f"{value:%H:%M}"
    if isinstance(value, tuple):
        return ", ".join(str(part) for part in value)
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _capital(text: str) -> str:
    text = text.removeprefix("the ")
    return text[:1].upper() + text[1:]


def read_form(treatment: Treatment, fields: Fields) -> Treatment:
    """The treatment with what the form holds. Raises FormError naming the field."""
    texts = {
        name: one(fields, name)
        for _, names in PARTS
        for name in names
        if name in fields and KINDS.get(name, "text") in ("text", "long", "gear")
    }
    left_out = {name.removeprefix("why-"): one(fields, name) for name in fields if name.startswith("why-")}
    try:
        return replace(
            treatment,
            **texts,  # type: ignore[arg-type]
            day=read_day(fields, "day"),
            started=_time(fields, "started"),
            finished=_time(fields, "finished"),
            area_m2=number(fields, "area_m2", "Treated area") if "area_m2" in fields else treatment.area_m2,
            water_litres=number(fields, "water_litres", "Water") if "water_litres" in fields else None,
            outdoors=one(fields, "place_of_work") != "indoors",
            products=_products(fields) if _places(fields, "product") else treatment.products,
            weather=_readings(fields) if _places(fields, "weather") else treatment.weather,
            left_out={**treatment.left_out, **{k: v for k, v in left_out.items() if v}},
        )
    except RecordsError as error:
        raise FormError(str(error)) from None


def read_day(fields: Fields, name: str) -> date:
    """The day in a field. Raises FormError where it is none."""
    try:
        return date.fromisoformat(one(fields, name))
    except ValueError:
        raise FormError(f"{one(fields, name) or 'An empty date'} is not a date; write it as 2026-09-14.") from None


def _time(fields: Fields, name: str) -> time | None:
    text = one(fields, name)
    if not text:
        return None
    try:
        return time.fromisoformat(text if len(text.split(":")[0]) == 2 else f"0{text}")
    except ValueError:
        raise FormError(f"{text} is not a time of day; write it as 17:30.") from None


def _places(fields: Fields, what: str) -> list[int]:
    return sorted({int(n.split("-")[1]) for n in fields if n.startswith(f"{what}-") and n.split("-")[1].isdigit()})


def _products(fields: Fields) -> tuple[Product, ...]:
    found = []
    for i in _places(fields, "product"):
        texts = {name: one(fields, f"product-{i}-{name}") for name in PRODUCT if name != "groups"}
        groups = one(fields, f"product-{i}-groups").replace(",", " ").split()
        if not all(group.isascii() and group.isdigit() for group in groups):
            raise FormError("Mode of action group: write the numbers on the label, such as 4, 9.")
        product = Product(**texts, groups=tuple(int(group) for group in groups))
        found += [product] if product != Product() else []
    return tuple(found)


def _readings(fields: Fields) -> tuple[Reading, ...]:
    found = []
    for i in _places(fields, "weather"):
        numbers: dict[str, Any] = {
            n: number(fields, f"weather-{i}-{n}", n.replace("_", " ")) for n in WEATHER if n in NUMBERS
        }
        at, direction = _time(fields, f"weather-{i}-at"), one(fields, f"weather-{i}-wind_direction")
        reading = Reading(at=at, wind_direction=direction, **numbers)
        found += [reading] if reading != Reading() else []
    return tuple(found)
