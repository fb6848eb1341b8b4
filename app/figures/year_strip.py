"""The year strip: what a plant does in which month, and when each way of control is at its best."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from app.figures.picture import INK, save_figure
from model.control import Control, Year
from model.control.year import MONTHS, spans

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

STAGES = {"germinates": "comes up", "flowers": "flowers", "seeds": "seeds"}
TITLE = "The year of a weed"
# Stages are filled, control is hatched: the two differ without colour.
STAGE_COLOURS = {"germinates": "#8fbf6a", "flowers": "#e6c229", "seeds": "#b5793c"}


def draw_year(control: Control, years: Sequence[Year], file: Path, month: int | None = None) -> None:
    """Draw the strips of some species, one above the other, as SVG or PNG by the file's ending.

    ``month`` is marked. The picture carries its content in words. Raises AnswerError where the
    file cannot be written.
    """
    save_figure(lambda: _figure(control, years, month), file, TITLE, in_words(control, years))


def _figure(control: Control, years: Sequence[Year], month: int | None) -> Figure:
    from matplotlib.figure import Figure

    rows = [strip_rows(control, year) for year in years]
    lines = sum(len(r) for r in rows)
    figure = Figure(figsize=(7.4, 0.34 * lines + 0.75 * len(years)), layout="constrained")
    axes = figure.subplots(len(years), 1, height_ratios=[len(r) + 1 for r in rows], squeeze=False)[:, 0]
    for year, year_rows, axis in zip(years, rows, axes, strict=True):
        _strip(axis, year_rows, month)
        plant = control.flora.species[year.species]
        axis.set_title(f"{plant.common_name} ({plant.scientific_name})", loc="left", fontsize=11)
    return figure


def in_words(control: Control, years: Sequence[Year]) -> str:
    """What the strips show, in words."""
    strips = []
    for year in years:
        rows = "; ".join(f"{name}: {spans(months)}" for name, _, months in strip_rows(control, year))
        strips.append(f"{control.flora.species[year.species].common_name}. {rows}.")
    return " ".join(strips)


def strip_rows(control: Control, year: Year) -> list[tuple[str, str, tuple[int, ...]]]:
    """The rows of a strip: label, stage of the plant ("" for a way of control) and months."""
    rows = [(label, stage, year.stages[stage]) for stage, label in STAGES.items() if year.stages[stage]]
    titles = control.methods.methods
    # What may be done in any month needs no strip.
    rows += [
        (titles[method].title, "", months)  # type: ignore[index]
        for method, months in year.best.items()
        if months and len(months) < 12
    ]
    return rows


def _strip(axis: Axes, rows: list[tuple[str, str, tuple[int, ...]]], month: int | None) -> None:
    for row, (_, stage, months) in enumerate(rows):
        colour = STAGE_COLOURS.get(stage, "#ffffff")
        for m in months:
            # The outlines of January and December lie on the edge of the axes: clipped, half of them would be missing.
            axis.barh(row, 1, left=m - 0.5, height=0.72, color=colour, edgecolor=INK, linewidth=0.6,
                      hatch="" if stage else "////", clip_on=False)  # fmt: skip
    axis.set_yticks(range(len(rows)), [name for name, _, _ in rows], color=INK, fontsize=9)
    axis.set_xticks(range(1, 13), MONTHS, color=INK, fontsize=9)
    axis.set_xlim(0.5, 12.5)
    axis.invert_yaxis()
    axis.tick_params(length=0)
    for edge in range(1, 12):
        axis.axvline(edge + 0.5, color="#c9d1c4", linewidth=0.5, zorder=0)
    if month is not None:
        axis.axvspan(month - 0.5, month + 0.5, fill=False, edgecolor="#1f4e8c", linewidth=2.2, zorder=5, clip_on=False)
    axis.spines[["top", "right", "left"]].set_visible(False)
