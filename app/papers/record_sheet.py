"""The spray record: every field that any state asks for, as signed, with what was amended and why."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import fields
from datetime import date, datetime, time
from itertools import pairwise
from typing import TYPE_CHECKING

from app.papers.pdf import SMALL, SMALL_ITEM, Head, Sheet, style
from app.present.finding import day_text
from app.records.entries import Current, Product, Reading, Signed, Treatment
from app.records.law import keep_until, missing_fields, union_of_fields, write_up_by
from app.services.objections import HEADING, against

if TYPE_CHECKING:
    from app.records import Records

EMPTY = "\u2013"
# What is written down beside the fields that states ask for.
MORE = {
    "gear": "Kind of gear",
    "area_m2": "Treated area, in m\u00b2",
    "tank_loads": "Tank loads",
    "supervised": "Who was supervised",
    "notes": "Notes",
}
GEAR = {
    "": "",
    "hand_spray": "held and pumped by hand",
    "powered_spray": "powered sprayer",
    "spreader": "spreader",
    "wiper": "brush, sponge or wick",
}
READING = {
    "at": "Time",
    "temperature": "Air, C",
    "humidity": "Humidity, %",
    "delta_t": "Delta T, C",
    "wind_speed": "Wind, km/h",
    "wind_direction": "Wind from",
    "notes": "Notes",
}
Versions = Sequence[tuple[Signed, Treatment]]


def paper_of_treatment(records: Records, number: int, maker: str = "") -> bytes:
    """The record of a treatment in the book, as PDF. Raises RecordsError where there is none."""
    current, versions = records.current("treatment", number), records.versions("treatment", number)
    assert isinstance(current.record, Treatment)
    remarks = [str(remark) for remark in against(records, current.record)]
    return record_paper(current, versions, maker, remarks)  # type: ignore[arg-type]  # all are of a treatment


def record_paper(current: Current, versions: Versions = (), maker: str = "", remarks: Iterable[str] = ()) -> bytes:
    """The record of a treatment as PDF. ``versions``: every signed one, oldest first; none while it is unsigned.

    ``remarks``: what speaks against what was done.
    """
    treatment = current.record
    assert isinstance(treatment, Treatment)
    kind = "Spray record" if treatment.chemical else "Record of work"
    state = treatment.state or "state not given"
    sheet = Sheet(Head(kind, f"{treatment.address or 'address not given'}, {state}", day_text(treatment.day), maker))
    sheet.title(f"{kind} {treatment.id}" if treatment.id else kind, _standing(current))
    missing = {lacking.field for lacking in missing_fields(treatment)}
    _of_the_treatment(sheet, treatment, missing)
    if treatment.chemical:
        _products(sheet, treatment, missing)
        _weather(sheet, treatment, missing)
    _law(sheet, treatment)
    _against(sheet, list(remarks))
    sheet.together(lambda: _signatures(sheet, current, versions))
    return sheet.as_pdf()


def value_text(value: object) -> str:
    """A value of a record as it is written on paper; empty where there is none."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        return day_text(value)
    if isinstance(value, time):
        return f"{value:%H:%M}"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, tuple):
        return ", ".join(value_text(one) for one in value)
    return str(value)


def label(text: str) -> str:
    """What a field is called on paper, from what the law's list calls it.

    >>> label("the full name of the product, from the label")
    'Full name of the product, from the label'
    """
    words = text.removeprefix("the ")
    return words[:1].upper() + words[1:]


def _standing(current: Current) -> str:
    if not current.is_signed:
        return "Not signed yet: this is a draft"
    amended = len(current.chain) - 1
    return "Signed" if not amended else f"Signed, and amended {'once' if amended == 1 else f'{amended} times'}"


def _told(name: str, value: object, treatment: Treatment, missing: set[str]) -> str:
    """A cell: the value, why it was left out, or that it is still missing."""
    if text := value_text(GEAR.get(str(value), value) if name == "gear" else value):
        return text
    if treatment.left_out.get(name):
        return f"left out: {treatment.left_out[name]}"
    return "STILL MISSING" if name in missing else EMPTY


def _of_the_treatment(sheet: Sheet, treatment: Treatment, missing: set[str]) -> None:
    rows = [["Field", "As written", "Asked by"]]
    own = {f.name for f in fields(Treatment)}
    asked = [one for one in union_of_fields() if one.field in own]
    for one in asked:
        told = _told(one.field, getattr(treatment, one.field), treatment, missing)
        rows.append([label(one.text), told, ", ".join(one.states)])
    known = {one.field for one in asked}
    for name, words in MORE.items():
        if name not in known and value_text(getattr(treatment, name)):
            rows.append([words, _told(name, getattr(treatment, name), treatment, missing), ""])
    if not treatment.chemical:
        # No law of sprays is about it: only what was written, and what is kept of all work.
        sheet.table([row[:2] for row in rows if row[1] != EMPTY], (0.34, 0.66))
        return
    sheet.table(rows, (0.34, 0.46, 0.20))


def _products(sheet: Sheet, treatment: Treatment, missing: set[str]) -> None:
    sheet.heading("Products, from their labels")
    products = treatment.products or (Product(),)
    own = {f.name for f in fields(Product)}
    rows = [["Field", *(f"Product {n}" for n in range(1, len(products) + 1)), "Asked by"]]
    for one in union_of_fields():
        if one.field in own:
            told = [_told(one.field, getattr(product, one.field), treatment, missing) for product in products]
            rows.append([label(one.text), *told, ", ".join(one.states)])
    if any(product.label for product in products):
        rows.append(["What the label says", *(product.label or EMPTY for product in products), ""])
    share = 0.54 / len(products)
    sheet.table(rows, (0.28, *[share] * len(products), 0.18))


def _weather(sheet: Sheet, treatment: Treatment, missing: set[str]) -> None:
    def write() -> None:
        sheet.heading("Weather as measured on site")
        rows = [list(READING.values())]
        for number, reading in enumerate(treatment.weather or (Reading(),)):
            lacks = missing if number == 0 else set()
            rows.append([_told(name, getattr(reading, name), treatment, lacks) for name in READING])
        sheet.table(rows, (0.11, 0.11, 0.14, 0.13, 0.14, 0.15, 0.22))

    sheet.together(write)


def _law(sheet: Sheet, treatment: Treatment) -> None:
    if not treatment.chemical:
        return
    due = write_up_by(treatment)
    sheet.text(f"{due.text[:1].upper()}{due.text[1:]}. Keep it until {day_text(keep_until(treatment))}.", SMALL)


def _against(sheet: Sheet, remarks: list[str]) -> None:
    if not remarks:
        return

    def write() -> None:
        sheet.heading(HEADING)
        sheet.items(remarks, SMALL_ITEM)
        sheet.text("Said by swardkey when this paper was made. It is not part of what is signed.", SMALL)

    sheet.together(write)


def _signatures(sheet: Sheet, current: Current, versions: Versions) -> None:
    sheet.heading("Signatures")
    if not current.is_signed:
        sheet.text("Not signed yet. On paper:")
        sheet.table([["Signed by", ""], ["Date and time", ""]], (0.3, 0.7), heads=False, tall=(24.0, 24.0))
        return
    rows = [["Version", "Signed by", "When (UTC)", "Why", "Mark of the row"]]
    for number, signed in enumerate(current.chain, start=1):
        why = signed.reason or "first signature"
        note = f"{why}. {signed.note}" if signed.note else why
        rows.append([str(number), signed.signed_by, _moment(signed.signed_at), note, signed.sha256[:16]])
    sheet.table(rows, (0.09, 0.22, 0.20, 0.29, 0.20))
    for (_, old), (signed, new) in pairwise(versions):
        sheet.text(f"What {signed.signed_by} amended on {_moment(signed.signed_at)}:", style(8.2))
        sheet.items(changes(old, new), SMALL_ITEM)
    sheet.text(
        "The mark covers the content and the mark of the row before it: a changed row gives another mark.", SMALL
    )


def _moment(iso: str) -> str:
    try:
        moment = datetime.fromisoformat(iso)
    except ValueError:
        return iso
    return f"{moment:%Y-%m-%d %H:%M}"


def changes(old: Treatment, new: Treatment) -> list[str]:
    """What differs between two versions, a line a field: what stood there, and what stands there now."""
    words = {one.field: label(one.text) for one in union_of_fields()} | MORE
    lines = []
    for name in (f.name for f in fields(Treatment) if f.name not in ("products", "weather", "id")):
        lines += _changed(words.get(name, name.replace("_", " ")), getattr(old, name), getattr(new, name))
    for kind, before, after in (("Product", old.products, new.products), ("Reading", old.weather, new.weather)):
        for number in range(max(len(before), len(after))):
            was = before[number] if number < len(before) else None
            now = after[number] if number < len(after) else None
            lines += _part_changed(f"{kind} {number + 1}", was, now, words)
    return lines


def _part_changed(title: str, was: object, now: object, words: dict[str, str]) -> list[str]:
    if was is None or now is None:
        return [f"{title}: {'taken out' if now is None else 'added'}"]
    lines = []
    for one in fields(was):  # type: ignore[arg-type]
        name = f"{title}, {words.get(one.name, one.name.replace('_', ' '))}"
        lines += _changed(name, getattr(was, one.name), getattr(now, one.name))
    return lines


def _changed(words: str, was: object, now: object) -> list[str]:
    if was == now:
        return []
    old, new = (str(value) if isinstance(value, dict) else value_text(value) for value in (was, now))
    return [f"{words}: {old or 'nothing'} \u2192 {new or 'nothing'}"]
