"""Degree-days in words: the totals, where they stand against published thresholds, and what is known of the soil."""

from __future__ import annotations

from typing import Any

from app.present.block import Bullets, Cited, Paragraph, Words
from model.spray.degree_days import Record
from model.spray.warmth import DegreeDayThreshold, Warmth

STANDS = {"before": "not reached", "within": "reached", "past": "passed"}


def print_warmth(record: Record, warmth: Warmth, weed: str | None) -> None:
    """Print the totals, where they stand, and what is known of the soil."""
    # Only the terminal loads the library that it prints with.
    from app.present.console import print_blocks

    total, days = record.total, record.days
    title = f"{total.in_unit('C')}, which is {total.in_unit('F')} ({len(days)} days, {days[0]} to {days[-1]})."
    found: list[Words] = [
        Cited(f"{_in_words(entry)}: {_compared(record, entry)}", warmth.cited(entry))
        for entry in warmth.degree_days_of(weed)
    ]
    found += [Cited(str(soil), warmth.cited(soil)) for soil in warmth.soil_of(weed or "")]
    remarks = tuple(f"Note: {note}." for note in notes(record, warmth, weed))
    print_blocks((Paragraph((title,), "strong"), Bullets((*found, *remarks))))


def _in_words(entry: DegreeDayThreshold) -> str:
    ends = f"{entry.low:g}" if entry.low == entry.high else f"{entry.low:g} to {entry.high:g}"
    counted = f"{entry.unit}-days over {entry.base:g} {entry.unit}" if entry.unit else "degree-days"
    return f"{entry.model}, {entry.event} of {', '.join(entry.weeds)} at {ends} {counted}"


def _compared(record: Record, entry: DegreeDayThreshold) -> str:
    """Where the total stands against one threshold."""
    if entry.ends is None:
        return "not compared: its source states no base"
    stand = entry.stand(record.total)
    if stand == "another model":
        return f"not compared: it counts over {entry.base:g} {entry.unit}"
    return STANDS[stand]


def notes(record: Record, warmth: Warmth, weed: str | None) -> list[str]:
    """What must be known to read the totals rightly."""
    found = []
    if record.missing:
        count = "a day is" if len(record.missing) == 1 else f"{len(record.missing)} days are"
        found.append(f"{count} missing, the first {record.missing[0]}: the true total is higher")
    if any(entry.stand(record.total) != "another model" for entry in warmth.degree_days_of(weed)):
        found.append(
            f"this total counts from {record.days[0]}; the published models do not state from which day they count, "
            "and they disagree with one another, so trust soil temperature more"
        )
    if weed is not None and weed not in warmth.facts.weeds:
        found.append(f"no degree-day threshold is on file for {weed}")
    return found


def warmth_json(record: Record, warmth: Warmth, weed: str | None) -> dict[str, Any]:
    """Totals in both units, thresholds, soil temperatures and notes, for ``--json``."""
    total, c, f = record.total, record.total.in_unit("C"), record.total.in_unit("F")
    given = ("model", "weeds", "event", "low", "high", "base", "unit")
    return {
        "days": len(record.days),
        "first": record.days[0].isoformat(),
        "last": record.days[-1].isoformat(),
        "missing_days": [day.isoformat() for day in record.missing],
        "base_c": round(c.base, 4),
        "base_f": round(f.base, 4),
        "c_days": round(c.total, 4),
        "f_days": round(f.total, 4),
        "thresholds": [
            {name: getattr(entry, name) for name in given} | {"stand": entry.stand(total), "cited": warmth.cited(entry)}
            for entry in warmth.degree_days_of(weed)
        ],
        "soil": [{"text": str(entry), "cited": warmth.cited(entry)} for entry in warmth.soil_of(weed or "")],
        "notes": notes(record, warmth, weed),
    }
