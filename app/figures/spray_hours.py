"""The hours of a day for spraying: what each is fit for and why, with Delta T and wind against their limits."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

from app.figures.picture import INK, save_figure
from model.spray import Day, Rules, clock
from model.spray.reason import Word, worst
from model.spray.rules import Band

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

TITLE = "Hours to spray in"
# A verdict is shown by its letter, its hatch and its shade, so that it needs no colour.
LOOKS: dict[Word, tuple[str, str, str]] = {
    "go": ("G", "", "#dcefd2"),
    "caution": ("C", "//", "#f1cf63"),
    "stop": ("S", "xxx", "#c8593d"),
}
# Factors that have a panel of their own, or only repeat the temperature's.
PANELS = ("delta_t", "wind")
LETTERS, LINE = 40, 0.21  # letters in a line of the heading, and its height in inches


def draw_hours(day: Day, rules: Rules, file: Path, about: str = "") -> None:
    """Draw a judged day to an SVG or PNG file, by its ending. The picture carries its content in words.

    ``about``: what the day is judged for, to stand above it: place, date and actives.
    Raises AnswerError where the file cannot be written; what was there before is then still there.
    """
    save_figure(lambda: hours_figure(day, rules, about), file, TITLE, in_words(day, about))


def in_words(day: Day, about: str = "") -> str:
    """What the picture shows, in words: each run of hours with its verdict and the factors behind it."""
    stretches = []
    for run in day.runs():
        factors = dict.fromkeys(reason.factor for hour in run for reason in hour.verdict.against())
        why = f" ({', '.join(factors).replace('delta_t', 'Delta T')})" if factors else ""
        stretches.append(f"{clock(run[0].starts)} to {clock(run[-1].ends)} {run[0].verdict.word}{why}")
    depressions = [hour.verdict.delta_t for hour in day.hours]
    winds = [hour.weather.wind for hour in day.hours]
    return (
        f"{about and f'{about}. '}{'; '.join(stretches)}. Delta T is {min(depressions):g} to {max(depressions):g} °C, "
        f"wind {min(winds):g} to {max(winds):g} km/h."
    )


def hours_figure(day: Day, rules: Rules, about: str = "") -> Figure:
    """The picture of a judged day; ``about`` heads it."""
    from matplotlib.figure import Figure

    rows = _rows(day)
    strip = 0.36 * len(rows)
    heading = textwrap.wrap(about, LETTERS)
    # As wide as a phone: on a desk it is enlarged, and the letters with it.
    figure = Figure(figsize=(4.4, strip + 4.6 + LINE * len(heading)), layout="constrained")
    if heading:
        words = "\n".join(heading)
        figure.suptitle(words, x=0.02, ha="left", fontsize=11.5, fontweight="bold", linespacing=1.25, parse_math=False)
    top, middle, bottom = figure.subplots(3, 1, sharex=True, height_ratios=[strip + 0.1, 1.5, 1.5])
    _draw_rows(top, day, rows)
    bands = rules.facts.bands
    _draw_line(middle, day, [hour.verdict.delta_t for hour in day.hours], bands["delta_t"])
    _draw_line(bottom, day, [hour.weather.wind for hour in day.hours], bands["wind"])
    first, last = day.hours[0].starts, day.hours[-1].ends
    bottom.set_xlim(first, last)
    step = 3 if last - first > 9 else 1
    ticks = range(-int(-first // step) * step, int(last) + 1, step)
    bottom.set_xticks(ticks, [str(tick) for tick in ticks])
    bottom.set_xlabel("hour of the day, local clock")
    return figure


def _rows(day: Day) -> list[tuple[str, list[Word]]]:
    """The verdict, then each factor without a panel that is against some hour: its name, and a word for each hour."""
    against = dict.fromkeys(reason.factor for hour in day.hours for reason in hour.verdict.against())
    factors = [name for name in against if name not in PANELS]
    rows = [("spray?", [hour.verdict.word for hour in day.hours])]
    return rows + [
        (name, [worst(r for r in hour.verdict.reasons if r.factor == name) for hour in day.hours]) for name in factors
    ]


def _draw_rows(axis: Axes, day: Day, rows: list[tuple[str, list[Word]]]) -> None:
    from matplotlib.patches import Patch

    for y, (_, words) in enumerate(rows):
        for start, end, word in _stretches(day, words):
            letter, hatch, colour = LOOKS[word]
            if y and word == "go":
                continue
            axis.barh(
                y, end - start, left=start, height=0.86, align="center",
                color=colour, hatch=hatch, edgecolor=INK, linewidth=0.5, clip_on=False,
            )  # fmt: skip
            axis.text(
                (start + end) / 2, y, letter, ha="center", va="center", fontsize=10,
                fontweight="bold", bbox={"boxstyle": "round,pad=0.12", "facecolor": "white", "edgecolor": "none"},
            )  # fmt: skip
    axis.set_yticks(range(len(rows)), [name for name, _ in rows])
    axis.get_yticklabels()[0].set_fontweight("bold")
    axis.set_ylim(len(rows) - 0.5, -0.5)
    axis.tick_params(length=0, labelbottom=False)
    axis.spines[:].set_visible(False)
    legend = [
        Patch(facecolor=colour, hatch=hatch, edgecolor=INK, linewidth=0.5, label=f"{letter}  {word}")
        for word, (letter, hatch, colour) in LOOKS.items()
    ]
    axis.legend(
        handles=legend, loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=3, frameon=False,
        handlelength=1.8, handleheight=1.1, borderaxespad=0.3,
    )  # fmt: skip


def _stretches(day: Day, words: list[Word]) -> list[tuple[float, float, Word]]:
    """Hours that follow one another with the same word, as one: begin, end and word."""
    found: list[tuple[float, float, Word]] = []
    for hour, word in zip(day.hours, words, strict=True):
        goes_on = found and found[-1][2] == word and abs(found[-1][1] - hour.starts) < 1e-6
        starts = found.pop()[0] if goes_on else hour.starts
        found.append((starts, hour.ends, word))
    return found


def _draw_line(axis: Axes, day: Day, values: list[float], band: Band) -> None:
    from matplotlib.ticker import MaxNLocator

    edges, levels = [day.hours[0].starts], []
    for hour, value in zip(day.hours, values, strict=True):
        if hour.starts - edges[-1] > 1e-6:  # hours are missing: the line is broken
            edges.append(hour.starts)
            levels.append(float("nan"))
        edges.append(hour.ends)
        levels.append(value)
    axis.stairs(levels, edges, baseline=None, color=INK, linewidth=2.2)
    axis.set_ylim(0, 1.12 * max([*values, *(limit.value for limit in band.limits)]))
    axis.yaxis.set_major_locator(MaxNLocator(nbins=5, integer=True))
    for start, end in day.usable:
        axis.axvspan(start, end, color=LOOKS["go"][2], linewidth=0, zorder=0)
    for name in ("stop_below", "caution_below", "caution_above", "stop_above"):
        limit = getattr(band, name)
        if limit is not None:
            dashes = "-" if name.startswith("stop") else "--"
            axis.axhline(limit.value, color=LOOKS["stop"][2], linestyle=dashes, linewidth=1.1, zorder=1)
            axis.annotate(
                f"{name.replace('_', ' ')} {limit.value:g}", (day.hours[-1].ends, limit.value), (4, 0),
                textcoords="offset points", va="center", fontsize=9.5, annotation_clip=False,
            )  # fmt: skip
    axis.set_ylabel(f"{band.name}, {band.unit}")
    axis.spines[["top", "right"]].set_visible(False)
