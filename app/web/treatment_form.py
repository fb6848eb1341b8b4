"""The form of a treatment: every field that a state's record asks for, from a Treatment and back.

What is known is shown as text and folded away to be changed; only what is left is asked.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date, time
from typing import Any, get_args

from app.present.record import GEAR, MORE, OF_PRODUCT, value_text
from app.present.record import label as paper_label
from app.records import Missing, Product, Reading, RecordsError, Treatment, field_names, missing_fields
from app.records.fields import Gear
from app.records.law import load_law
from app.services.choices import date_of
from app.web.frame import Fields, FormError, number, one

NUMBERS = ("area_m2", "water_litres", "temperature", "humidity", "wind_speed")
LICENSED = {"": "not given", "yes": "yes", "no": "no"}
# How a field is filled in; all others are one line of text.
KINDS = {
    "day": "date",
    "gear": "choice",
    "licensed": "choice",
    **dict.fromkeys(("started", "finished", "at"), "time"),
    **dict.fromkeys(NUMBERS, "number"),
    **dict.fromkeys(("notes", "label_extras", "order_treated", "other_weather", "clippings", "tank_loads"), "long"),
}
CHOICES = {
    "gear": [(name, GEAR[name] or "not given") for name in get_args(Gear)],
    "licensed": list(LICENSED.items()),
}
WEATHER = ("at", "temperature", "humidity", "wind_speed", "wind_direction", "notes")
WEATHER_WORDS = {"at": "Time", "humidity": "Relative humidity, %", "notes": "Note on the weather"}
PARTS = (
    ("Where and what", ("day", "address", "situation", "treated_area", "area_m2", "target", "plants", "method")),
    ("Time and gear", ("started", "finished", "gear", "equipment", "water_litres", "tank_loads", "order_treated")),
    (
        "Who",
        ("applicator", "applicator_address", "applicator_contact", "licensed", "licence", "supervisor", "supervised"),
    ),
    ("For whom", ("client", "client_contact", "occupier", "business", "business_address", "business_contact")),
    ("Advice and notes", ("re_entry", "withholding", "clippings", "permit", "other_weather", "label_extras", "notes")),
)
PRODUCT = ("name", "actives", "groups", "rate", "total_amount", "approval_number", "batch", "expiry", "label")
# What work without a chemical is asked for.
BY_HAND = {
    "day", "address", "treated_area", "target", "method", "started", "finished", "applicator", "client", "notes",
}  # fmt: skip
# Asked in any case while it is empty; of work without a chemical, only what must be there.
USUAL = {"treated_area", "finished", "gear", "re_entry", "name", "actives", "groups", "rate", "total_amount",
         "temperature", "humidity", "wind_speed", "wind_direction"}  # fmt: skip
# What a field is called beside its value, where the question is too long for that.
SHORT = {
    "name": "Product", "actives": "Actives", "groups": "Group", "rate": "Rate", "total_amount": "Product used",
    "approval_number": "Registration number", "batch": "Batch", "expiry": "Expiry", "at": "Weather at",
    "temperature": "Temperature, °C", "humidity": "Humidity, %", "wind_speed": "Wind, km/h",
    "wind_direction": "Wind from", "situation": "Situation", "treated_area": "Area treated", "area_m2": "Area, m²",
    "target": "Weed", "plants": "Lawn or plants", "method": "Method", "started": "Start", "finished": "Finish",
    "gear": "Gear", "water_litres": "Water, L", "applicator": "Applicator", "applicator_address": "Address",
    "applicator_contact": "Contact", "licensed": "Licensed", "licence": "Licence", "supervisor": "Supervisor",
    "supervised": "Supervised", "client": "Client", "client_contact": "Client's contact", "occupier": "Occupier",
    "business": "Business", "business_address": "Business address", "business_contact": "Business contact",
    "re_entry": "Keep off until", "withholding": "Withholding", "clippings": "Clippings", "permit": "Permit",
    "address": "Site", "day": "Date",
}  # fmt: skip
AREA = {"treated_area", "area_m2"}  # either says where


@dataclass(frozen=True)
class Entry:
    """One field on the page.

    ``needed``: the state's record asks for it; ``missing``: it does, nothing is there, and somebody tried to sign;
    ``asked``: empty, and not folded away.
    """

    name: str
    label: str
    value: str
    kind: str
    needed: bool
    missing: bool
    asked: bool
    words: str
    short: str


def form(treatment: Treatment, tried: bool = False) -> dict[str, Any]:
    """What the form shows; what is missing is marked where somebody ``tried`` to sign."""
    lacks = missing_fields(treatment)
    parts = _parts(treatment, lacks if tried else ())
    every = [entry for _, entries in parts for entry in entries]
    unconfirmed = treatment.chemical and load_law().of(treatment.state).list == "unconfirmed"
    given = treatment.left_out
    return {
        "known": [entry for entry in every if entry.value],
        "ask": [(title, asked) for title, entries in parts if (asked := [e for e in entries if e.asked])],
        "more": [entry for entry in every if not entry.value and not entry.asked],
        "choices": CHOICES,
        "lacks": [(input_of(lack), lack.text) for lack in lacks] if tried else [],
        "may_leave": [(m.field, m.text, given.get(m.field, "")) for m in lacks] if tried and unconfirmed else [],
        "chemical": treatment.chemical,
    }


def _parts(treatment: Treatment, lacks: tuple[Missing, ...]) -> list[tuple[str, list[Entry]]]:
    """All fields under their titles: products and weather before the rest."""
    entries = _Entries(treatment, {input_of(lack) for lack in lacks})
    found: list[tuple[str, list[Entry]]] = []
    if treatment.chemical:
        for place, product in enumerate(treatment.products or (Product(),)):
            title = "Another product" if place else "Product, from the label in hand"
            found.append((title, [entries.of(name, product, f"product-{place}-") for name in PRODUCT]))
        for place, reading in enumerate(treatment.weather or (Reading(),)):
            title = "Weather later" if place else "Weather at the start"
            found.append((title, [entries.weather(name, reading, place) for name in WEATHER]))
    for title, names in PARTS:
        shown = [name for name in names if treatment.chemical or name in BY_HAND | entries.needed]
        found.append((title, [entries.of(name, treatment) for name in shown]))
    return found


def input_of(lack: Missing) -> str:
    """The name of the input that fills in what is missing.

    >>> input_of(Missing("rate", "the rate", 1)), input_of(Missing("wind_speed", "the wind"))
    ('product-1-rate', 'weather-0-wind_speed')
    """
    each = load_law().fields[lack.field].each
    return {"product": f"product-{lack.place}-", "reading": "weather-0-"}.get(each, "") + lack.field


def _needed(treatment: Treatment) -> set[str]:
    """What the record of a treatment like this one must have."""
    blank = Treatment(visit=treatment.visit, day=treatment.day, state=treatment.state, chemical=treatment.chemical)
    blank = replace(blank, gear=treatment.gear, outdoors=treatment.outdoors, licensed=treatment.licensed)
    needed = {lack.field for lack in missing_fields(replace(blank, licence=treatment.licence))}
    needed |= {lack.field for lack in missing_fields(blank) if lack.field in ("licensed", "licence")}
    return needed | {"day"} | ({"licence"} if treatment.licensed == "yes" and "licensed" in needed else set())


class _Entries:
    """Makes the fields of one form; ``marked`` are the inputs that are missing."""

    def __init__(self, treatment: Treatment, marked: set[str]) -> None:
        self.needed, self.marked, self.chemical = _needed(treatment), marked, treatment.chemical
        self.given = AREA if treatment.area_m2 or treatment.treated_area else set()
        self.given = self.given | ({"licensed"} if treatment.licence else set())  # who has one is
        self.words = field_names() | MORE | OF_PRODUCT

    def of(self, name: str, owner: Any, prefix: str = "", label: str = "") -> Entry:
        """A field of a treatment, product or reading with its value."""
        value, needed = _text(getattr(owner, name)), name in self.needed
        asked = not value and (needed or (name in USUAL and self.chemical)) and name not in self.given
        words = dict(CHOICES.get(name, ())).get(value) or value_text(getattr(owner, name))
        label = label or paper_label(self.words.get(name, name.replace("_", " ")))
        key, kind, short = f"{prefix}{name}", KINDS.get(name, "text"), SHORT.get(name, label)
        return Entry(key, label, value, kind, needed, key in self.marked, asked, words, short)

    def weather(self, name: str, reading: Reading, place: int) -> Entry:
        """A field of a reading; only the first is asked for."""
        entry = self.of(name, reading, f"weather-{place}-", WEATHER_WORDS.get(name, ""))
        entry = replace(entry, kind="text") if name == "notes" else entry
        return entry if place == 0 else replace(entry, needed=False, missing=False)


def _text(value: Any) -> str:
    """A value as it stands in its field."""
    if isinstance(value, time):
        return f"{value:%H:%M}"
    if isinstance(value, tuple):
        return ", ".join(str(part) for part in value)
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def read_form(treatment: Treatment, fields: Fields) -> Treatment:
    """The treatment with what the form holds. Raises FormError naming the field."""
    texts = {
        name: one(fields, name)
        for _, names in PARTS
        for name in names
        if name in fields and KINDS.get(name, "text") in ("text", "long", "choice")
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
    """The day in a field. Raises SwardkeyError where it is missing or none."""
    if not one(fields, name):
        raise FormError("A date is missing; write it as 28/11/2026.")
    return date_of(one(fields, name))


def read_groups(text: str) -> tuple[int, ...]:
    """The modes of action in a field. Raises FormError."""
    groups = text.replace(",", " ").split()
    if not all(group.isascii() and group.isdigit() for group in groups):
        raise FormError("Mode of action group: write the numbers on the label, such as 4, 9.")
    return tuple(int(group) for group in groups)


def _time(fields: Fields, name: str) -> time | None:
    text = one(fields, name)
    if not text:
        return None
    try:
        return time.fromisoformat(text if len(text.split(":")[0]) == 2 else f"0{text}")
    except ValueError:
        raise FormError(f"{text} is not a time of day; write it as 17:30.") from None


def _places(fields: Fields, what: str) -> list[int]:
    return sorted({int(found[1]) for name in fields if (found := re.match(rf"{what}-([0-9]{{1,3}})-", name))})


def _products(fields: Fields) -> tuple[Product, ...]:
    found = []
    for i in _places(fields, "product"):
        texts = {name: one(fields, f"product-{i}-{name}") for name in PRODUCT if name != "groups"}
        product = Product(**texts, groups=read_groups(one(fields, f"product-{i}-groups")))
        found += [product] if product != Product() else []
    return tuple(found)


def _readings(fields: Fields) -> tuple[Reading, ...]:
    found = []
    for i in _places(fields, "weather"):
        numbers: dict[str, Any] = {
            n: number(fields, f"weather-{i}-{n}", n.replace("_", " ")) for n in WEATHER if n in NUMBERS
        }
        texts = {name: one(fields, f"weather-{i}-{name}") for name in ("wind_direction", "notes")}
        reading = Reading(at=_time(fields, f"weather-{i}-at"), **numbers | texts)
        found += [reading] if reading != Reading() else []
    return tuple(found)
