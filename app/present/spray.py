"""Verdicts on spraying, an hour's and a day's, and the limits behind them, in words."""

from __future__ import annotations

from collections.abc import Iterable

from app.present.block import Block, Cited, Paragraph, Section, Table, Words, bullets, capital
from model.spray import Day, Reason, Verdict, clock
from model.spray.reason import most_serious_first
from model.spray.rules import Band, Limit, Rules

LABEL_WINS = "The label in your hand overrides every limit here. Measure on site before, during and at the end."
BY_THE_HOUR = ("delta_t", "wind", "heat", "cold", "humidity", "inversion", "rain", "volatile")
HEADLINES = {
    "go": "GO: nothing checked rules out spraying.",
    "caution": "CAUTION: spray only if you can deal with the points below.",
    "stop": "STOP: do not spray.",
}


def print_verdict(verdict: Verdict) -> None:
    """Print one verdict with all its reasons, the gravest first."""
    _print(headline(verdict), *reasons(verdict.reasons))


def print_day(day: Day) -> None:
    """Print the usable hours, each hour's verdict, and the reasons against, once for each kind."""
    _print(usable(day), hours(day), *reasons(one_of_each(day)))


def _print(*blocks: Block) -> None:
    # Only the terminal loads the library that it prints with.
    from app.present.console import print_blocks

    print_blocks((*blocks, Paragraph((LABEL_WINS,))))


def headline(verdict: Verdict) -> Paragraph:
    """The verdict in a sentence; a go that rests on less than everything says so, and what is missing."""
    missing = list(dict.fromkeys(factor_name(reason.factor) for reason in verdict.open))
    word = HEADLINES[verdict.word]
    if verdict.word == "go" and missing:
        word = f"GO SO FAR: {' and '.join(missing)} not judged yet, for lack of readings."
    return Paragraph((word, f"Delta T {verdict.delta_t:g} \u00b0C."), "strong")


def reasons(found: Iterable[Reason]) -> tuple[Block, ...]:
    """Why and why not, under how much each of them weighs; what is in favour last."""
    titles = {"stop": "Stop", "caution": "Caution", "not judged": "Not judged", "go": "In favour"}
    lines: dict[str, list[Words]] = {level: [] for level in titles}
    for reason in found:
        name = factor_name(reason.factor)
        named = reason.text.casefold().startswith(name.casefold())
        text = reason.text if named else f"{name}: {reason.text.removeprefix('Caution: ')}"
        lines[reason.level].append(Cited(capital(text), reason.cited))
    return tuple(Section(title, bullets(lines[level]), folded=level == "go") for level, title in titles.items())


def factor_name(factor: str) -> str:
    """What a factor is called.

    >>> factor_name("delta_t"), factor_name("lawn")
    ('Delta T', 'lawn')
    """
    return "Delta T" if factor == "delta_t" else factor.replace("_", " ")


def usable(day: Day) -> Paragraph:
    """The runs of hours to spray in."""
    runs = [f"{clock(start)} to {clock(end)}" for start, end in day.usable]
    if runs:
        return Paragraph((f"Spray from {', and from '.join(runs)}.",), "strong")
    if any(hour.verdict.word == "caution" for hour in day.hours):
        return Paragraph(("No hour is clear; the hours marked caution need care.",), "strong")
    return Paragraph(("No hour of this forecast is suitable for spraying.",), "strong")


def hours(day: Day) -> Table:
    """Each hour with its verdict, and what is against it."""
    rows = []
    for hour in day.hours:
        against = ", ".join(dict.fromkeys(factor_name(reason.factor) for reason in hour.verdict.against()))
        weather = (f"{hour.verdict.delta_t:.1f}", f"{hour.weather.wind:g}")
        rows.append((clock(hour.starts), *weather, hour.verdict.word, against))
    return Table(tuple(rows), ("hour", "Delta T", "wind", "verdict", "because of"))


def one_of_each(day: Day) -> tuple[Reason, ...]:
    """The day's first reason of each reading and level but go; those that no hour changes, such as the law, all."""
    first: dict[tuple[str, ...], Reason] = {}
    for hour in day.hours:
        for reason in hour.verdict.reasons:
            if reason.level != "go":
                each = () if reason.factor in BY_THE_HOUR else (reason.text,)
                first.setdefault((reason.factor, reason.level, *each), reason)
    return most_serious_first(first.values())


def weather_limits(rules: Rules) -> Section:
    """Within which weather to spray."""
    bands = rules.facts.bands.values()
    rows = tuple((capital(band.name), *limits(band)) for band in _by_reading(bands))
    facts = tuple(Cited("", fact.standing, tuple(fact.source)) for band in bands for fact in band.limits)
    label = Cited("Where the label gives another limit, that one applies.", facts[0].standing, facts[0].source, facts)
    table = Table(rows, ("Reading", "Go", "Caution", "Stop"), (0.22, 0.22, 0.28, 0.28))
    return Section("Weather limits for spraying", (table, Paragraph((label,), "small")), together=True)


def _by_reading(bands: Iterable[Band]) -> list[Band]:
    """One band a reading: what is too low and what is too high of it may have been given apart."""
    found: dict[str, Band] = {}
    for band in bands:
        given = {name: limit for name, limit in band if limit is not None}
        found[band.name] = found[band.name].model_copy(update=given) if band.name in found else band
    return list(found.values())


def limits(band: Band) -> tuple[str, str, str]:
    """Go, caution and stop of one factor, in words.

    >>> from model.spray import load_rules
    >>> limits(load_rules().facts.bands["delta_t"])
    ('2 to 8 °C', 'below 2, above 8 °C', 'above 10 °C')
    """

    def beyond(below: Limit | None, above: Limit | None) -> str:
        ends = [f"{word} {limit.value:g}" for word, limit in (("below", below), ("above", above)) if limit]
        return f"{', '.join(ends)} {band.unit}" if ends else "\u2013"

    low, high = band.caution_below or band.stop_below, band.caution_above or band.stop_above
    if low and high:
        go = f"{low.value:g} to {high.value:g} {band.unit}"
    else:
        go = f"{low.value:g} {band.unit} or more" if low else f"{high.value:g} {band.unit} or less" if high else ""
    return go, beyond(band.caution_below, band.caution_above), beyond(band.stop_below, band.stop_above)
