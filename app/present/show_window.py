"""Verdicts on spraying, and degree-days, in the terminal."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from model.spray import Day, Reason, Verdict, clock
from model.spray.degree_days import Record
from model.spray.reason import most_serious_first
from model.spray.warmth import DegreeDayThreshold, Warmth

LABEL_WINS = "The label in your hand wins over every limit here. Measure on site before, during and at the end."
BY_THE_HOUR = ("delta_t", "wind", "heat", "cold", "humidity", "inversion", "rain", "volatile")
HEADLINES = {
    "go": "GO: nothing that was checked is against spraying.",
    "caution": "CAUTION: spray only if the points below are dealt with.",
    "stop": "STOP: do not spray.",
}


def headline(verdict: Verdict) -> str:
    """The verdict in a sentence; a go that rests on less than everything says so, and what is missing."""
    missing = list(dict.fromkeys(reason.factor.replace("_", " ") for reason in verdict.open))
    if verdict.word == "go" and missing:
        return f"GO SO FAR: {' and '.join(missing)} not judged yet, for lack of input."
    return HEADLINES[verdict.word]


def print_verdict(verdict: Verdict, console: Console | None = None) -> None:
    """Print one verdict with all its reasons, the gravest first."""
    console = console or Console(highlight=False)
    console.print(f"{headline(verdict)} Delta T {verdict.delta_t:g} C.", style="bold", markup=False)
    console.print(reasons_table(verdict.reasons))
    console.print(LABEL_WINS, markup=False)


def reasons_table(reasons: tuple[Reason, ...]) -> Table:
    """Level, factor and text, one reason a row."""
    table = Table(box=None, show_header=False, pad_edge=False)
    table.add_column(no_wrap=True)
    table.add_column(no_wrap=True)
    table.add_column()
    for reason in reasons:
        table.add_row(reason.level, reason.factor, with_source(reason.text, reason.cited))
    return table


def with_source(text: str, cited: str) -> Text:
    """A text, then its standing and source in brackets, less prominent."""
    return Text.assemble(text, (f" [{cited}]", "dim"))


def print_day(day: Day, console: Console | None = None) -> None:
    """Print the usable hours, each hour's verdict, and the reasons against, once for each kind."""
    console = console or Console(highlight=False)
    console.print(usable_sentence(day), style="bold", markup=False)
    table = Table(box=None, pad_edge=False)
    for name in ("hour", "Delta T", "wind"):
        table.add_column(name, justify="right")
    for name in ("verdict", "because of"):
        table.add_column(name)
    for hour in day.hours:
        against = ", ".join(dict.fromkeys(reason.factor for reason in hour.verdict.against()))
        word = hour.verdict.word
        table.add_row(clock(hour.starts), f"{hour.verdict.delta_t:.1f}", f"{hour.weather.wind:g}", word, against)
    console.print(table)
    console.print(reasons_table(one_of_each(day)))
    console.print(LABEL_WINS, markup=False)


def usable_sentence(day: Day) -> str:
    """The runs of hours to spray in, in words."""
    runs = [f"{clock(start)} to {clock(end)}" for start, end in day.usable]
    if runs:
        return f"Spray from {', and from '.join(runs)}."
    if any(hour.verdict.word == "caution" for hour in day.hours):
        return "Every hour has some reason against it; those marked caution need care."
    return "No hour of this forecast is suitable for spraying."


def one_of_each(day: Day) -> tuple[Reason, ...]:
    """Of each reading and level that speaks against, or was not judged, the first reason of the day.

    What does not change with the hour, such as the lawn and the law, is told whole.
    """
    first: dict[tuple[str, ...], Reason] = {}
    for hour in day.hours:
        for reason in hour.verdict.reasons:
            if reason.level != "go":
                each = () if reason.factor in BY_THE_HOUR else (reason.text,)
                first.setdefault((reason.factor, reason.level, *each), reason)
    return most_serious_first(first.values())


def compared(record: Record, entry: DegreeDayThreshold) -> str:
    """Where the total stands against one threshold, in words."""
    stand = entry.stand(record.total)
    if entry.ends is None:
        return "not compared: its source states no base"
    if stand == "another model":
        return f"not compared: it counts over {entry.base:g} {entry.unit}"
    return {"before": "not reached", "within": "reached", "past": "passed"}[stand]


def warmth_json(record: Record, warmth: Warmth, weed: str | None) -> dict[str, Any]:
    """Totals in both units, thresholds, soil temperatures and doubts, for ``--json``."""
    total = record.total
    return {
        "days": len(record.days),
        "first": record.days[0].isoformat(),
        "last": record.days[-1].isoformat(),
        "missing_days": [day.isoformat() for day in record.missing],
        "base_c": round(total.in_unit("C").base, 4),
        "base_f": round(total.in_unit("F").base, 4),
        "c_days": round(total.in_unit("C").total, 4),
        "f_days": round(total.in_unit("F").total, 4),
        "thresholds": [
            {
                "model": entry.model,
                "weeds": entry.weeds,
                "event": entry.event,
                "low": entry.low,
                "high": entry.high,
                "base": entry.base,
                "unit": entry.unit,
                "stand": entry.stand(total),
                "cited": warmth.cited(entry),
            }
            for entry in warmth.degree_days_of(weed)
        ],
        "soil": [{"text": str(entry), "cited": warmth.cited(entry)} for entry in warmth.soil_of(weed or "")],
        "notes": notes(record, warmth, weed),
    }


def notes(record: Record, warmth: Warmth, weed: str | None) -> list[str]:
    """What must be known to read the totals rightly."""
    told = []
    if record.missing:
        count = "a day is" if len(record.missing) == 1 else f"{len(record.missing)} days are"
        told.append(f"{count} missing, the first {record.missing[0]}: the total is too low by what is missing")
    if any(entry.stand(record.total) != "another model" for entry in warmth.degree_days_of(weed)):
        told.append(
            f"this total counts from {record.days[0]}; the published models do not tell us from which day they count, "
            "and they disagree with one another, so trust soil temperature more"
        )
    if weed is not None and weed not in warmth.facts.weeds:
        told.append(f"no warmth is known for {weed}")
    return told


def print_warmth(record: Record, warmth: Warmth, weed: str | None, console: Console | None = None) -> None:
    """Print the totals, where they stand, and what is known of the soil."""
    console = console or Console(highlight=False)
    total = record.total
    console.print(
        f"{total.in_unit('C')}, which is {total.in_unit('F')} "
        f"({len(record.days)} days, {record.days[0]} to {record.days[-1]}).",
        style="bold",
        markup=False,
    )
    for entry in warmth.degree_days_of(weed):
        ends = f"{entry.low:g}" if entry.low == entry.high else f"{entry.low:g} to {entry.high:g}"
        counted = f"{entry.unit}-days over {entry.base:g} {entry.unit}" if entry.unit else "degree-days"
        what = f"{entry.model}, {entry.event} of {', '.join(entry.weeds)} at {ends} {counted}"
        console.print(with_source(f"{what}: {compared(record, entry)}", warmth.cited(entry)))
    for soil in warmth.soil_of(weed or ""):
        console.print(with_source(str(soil), warmth.cited(soil)))
    for note in notes(record, warmth, weed):
        console.print(f"Note: {note}.", markup=False)
