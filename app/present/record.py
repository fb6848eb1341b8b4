"""The record of a treatment in words: every field that any state asks for, as signed, and what was amended."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields
from datetime import date, time
from itertools import pairwise

from app.present.block import Block, Paragraph, Section, Table, bullets, capital
from app.present.finding import day_text, moment_text
from app.records.entries import Current, Product, Reading, Signed, Treatment
from app.records.law import asked_in, field_names, keep_until, missing_fields, write_up_by

EMPTY, MISSING = "\u2013", "STILL MISSING"
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
    "hand_spray": "hand sprayer or knapsack",
    "powered_spray": "powered sprayer",
    "spreader": "spreader",
    "wiper": "brush, sponge or wick",
}
FROM_LABEL = ", from the label"  # which the heading of the products says of all
OF_PRODUCT = {"label": "Use stated on the label"}
READINGS = {
    "at": "Time",
    "temperature": "Air, °C",
    "humidity": "Humidity, %",
    "delta_t": "Delta T, °C",
    "wind_speed": "Wind, km/h",
    "wind_direction": "Wind from",
    "notes": "Notes",
}
FIELD_WIDTHS = (0.23, 0.77)
READING_WIDTHS = (0.11, 0.11, 0.14, 0.13, 0.14, 0.15, 0.22)
LINE = 24.0  # height of a line to sign on, in points
Versions = Sequence[tuple[Signed, Treatment]]


def record_kind(treatment: Treatment) -> str:
    """What the record is called."""
    return "Spray record" if treatment.chemical else "Record of work"


def record_blocks(current: Current, versions: Versions = (), beside: Iterable[Block] = ()) -> tuple[Block, ...]:
    """The record of a treatment; ``versions``: every signed one, oldest first; ``beside``: what is not signed."""
    treatment = current.record
    assert isinstance(treatment, Treatment)
    missing = {lacking.field for lacking in missing_fields(treatment)}
    return (
        _treatment(treatment, missing),
        *(_chemical(treatment, missing) if treatment.chemical else ()),
        *beside,
        *_answers(treatment),
        _signatures(current, versions),
    )


def standing(current: Current) -> str:
    """Whether it is signed, and how often it was amended."""
    if not current.is_signed:
        return "Not signed yet: this is a draft"
    amended = len(current.chain) - 1
    return "Signed" if not amended else f"Signed, and amended {'once' if amended == 1 else f'{amended} times'}"


def value_text(value: object) -> str:
    """A value of a record as it is written on paper; empty where there is none."""
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case date():
            return day_text(value)
        case time():
            return f"{value:%H:%M}"
        case float():
            return f"{value:g}"
        case tuple():
            return ", ".join(value_text(one) for one in value)
    return str(value)


def label(text: str) -> str:
    """What a field is called on paper, from what the law's list calls it.

    >>> label("the full name of the product, from the label")
    'Full name of the product, from the label'
    """
    return capital(text.removeprefix("the "))


def _cell(name: str, value: object, treatment: Treatment, missing: set[str]) -> str:
    """The value, why it was left out, or that it is still missing."""
    if text := value_text(GEAR.get(str(value), value) if name == "gear" else value):
        return text
    if treatment.left_out.get(name):
        return f"left out: {treatment.left_out[name]}"
    return MISSING if name in missing else EMPTY


def _rows(
    values: Sequence[Treatment | Product], treatment: Treatment, missing: set[str], more: Mapping[str, str]
) -> tuple[tuple[str, ...], ...]:
    """A row a field that the treatment's state asks for or that was filled in: what it is called, and its values."""
    own = {field.name for field in fields(values[0])}
    asked = asked_in(treatment.state)
    named = {name: label(text) for name, text in field_names().items() if name in own}
    named |= {name: words for name, words in more.items() if name not in named}
    written = {name for name in named if any(value_text(getattr(value, name)) for value in values)}
    return tuple(
        (words, *(_cell(name, getattr(value, name), treatment, missing) for value in values))
        for name, words in named.items()
        if name in asked or name in written or treatment.left_out.get(name)
    )


def _treatment(treatment: Treatment, missing: set[str]) -> Table:
    rows = _rows((treatment,), treatment, missing, MORE)
    if treatment.chemical:
        return Table(rows, ("Field", "As written"), FIELD_WIDTHS, paired=True)
    # No law of sprays is about it: only what was written, and what is kept of all work.
    written = tuple((words, value) for words, value in rows if value != EMPTY)
    return Table(written, ("Field", "As written"), FIELD_WIDTHS, paired=True)


def _chemical(treatment: Treatment, missing: set[str]) -> tuple[Block, ...]:
    """Products, weather, and the days that the law sets."""
    products = treatment.products or (Product(),)
    rows = tuple(
        (words.removesuffix(FROM_LABEL), *cells) for words, *cells in _rows(products, treatment, missing, OF_PRODUCT)
    )
    head = ("Field", *(f"Product {n}" for n in range(1, len(products) + 1)))
    widths = (FIELD_WIDTHS[0], *[FIELD_WIDTHS[1] / len(products)] * len(products))
    readings = tuple(
        tuple(_cell(name, getattr(reading, name), treatment, set() if number else missing) for name in READINGS)
        for number, reading in enumerate(treatment.weather or (Reading(),))
    )
    weather = Table(readings, tuple(READINGS.values()), READING_WIDTHS)
    law = f"{capital(write_up_by(treatment).text)}. Keep it until {day_text(keep_until(treatment))}."
    return (
        Section("Products, from their labels", (Table(rows, head, widths, paired=len(products) == 1),)),
        Section("Weather as measured on site", (weather,), together=True),
        Paragraph((law,), "small"),
    )


def _answers(treatment: Treatment) -> tuple[Section, ...]:
    """What was asked before it was signed, and what was answered."""
    rows = tuple(treatment.answered.items())
    return (Section("Asked before it was signed", (Table(rows, widths=(0.5, 0.5)),)),) if rows else ()


def _signatures(current: Current, versions: Versions) -> Section:
    if not current.is_signed:
        lines = Table((("Signed by", ""), ("Date and time", "")), widths=(0.3, 0.7), tall=(LINE, LINE))
        return Section("Signatures", (Paragraph(("Not signed yet. On paper:",)), lines), together=True)
    rows = []
    for number, signed in enumerate(current.chain, start=1):
        why = ". ".join(filter(None, (signed.reason or "first signature", signed.note)))
        rows.append((str(number), signed.signed_by, moment_text(signed.signed_at), why, signed.sha256[:16]))
    head = ("Version", "Signed by", "When", "Why", "Hash of the row")
    blocks: list[Block] = [Table(tuple(rows), head, (0.09, 0.18, 0.29, 0.25, 0.19))]
    for (_, old), (signed, new) in pairwise(versions):
        blocks.append(Paragraph((f"What {signed.signed_by} amended on {moment_text(signed.signed_at)}:",)))
        blocks += bullets(changes(old, new), "small")
    mark = "The hash covers the content and the hash of the row before it, so a changed row gives a different hash."
    return Section("Signatures", (*blocks, Paragraph((mark,), "small")), together=True)


def changes(old: Treatment, new: Treatment) -> list[str]:
    """What differs between two versions, a line a field: what stood there, and what stands there now."""
    words = {name: label(text) for name, text in field_names().items()} | MORE
    lines = _changed("", old, new, words, ("products", "weather", "answered", "id"))
    for kind, before, after in (("Product", old.products, new.products), ("Reading", old.weather, new.weather)):
        for number in range(max(len(before), len(after))):
            title = f"{kind} {number + 1}"
            if number >= len(before) or number >= len(after):
                lines.append(f"{title}: {'removed' if number >= len(after) else 'added'}")
            else:
                lines += _changed(f"{title}, ", before[number], after[number], words)  # type: ignore[arg-type]
    return lines


def _changed(
    title: str, was: Treatment, now: Treatment, words: Mapping[str, str], passed_over: Sequence[str] = ()
) -> list[str]:
    """The fields that differ between two values of one kind."""
    lines = []
    for name in (field.name for field in fields(was) if field.name not in passed_over):
        both = getattr(was, name), getattr(now, name)
        if both[0] != both[1]:
            old, new = (str(value) if isinstance(value, dict) else value_text(value) for value in both)
            called = words.get(name, name.replace("_", " "))
            lines.append(f"{title}{called}: {old or 'nothing'} \u2192 {new or 'nothing'}")
    return lines
