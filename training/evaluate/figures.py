"""Figures of the page, as SVG text: confusion, species with intervals, reliability against its null."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable
from typing import Any

import matplotlib
import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray
from sklearn.metrics import confusion_matrix

from training.evaluate.measure import BINS, Measured

Array = NDArray[np.float64]
INK, SOFT, MARK, WRONG = "#1d2a22", "#5d6b62", "#1f6f43", "#b3401f"
NULL_DRAWS = 2000
# Text stays text, so that it can be read out and found; the same figure gives the same bytes.
STYLE: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "swardkey",
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 11,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.color": INK,
    "ytick.color": INK,
}


def svg(draw: Callable[[Figure], None], width: float, height: float) -> str:
    """A figure as an SVG element. ``width``, ``height`` in inches; ``draw`` puts the content in."""
    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=(width, height), layout="constrained")
        draw(figure)
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None}, transparent=True)
    text = out.getvalue()
    return text[text.index("<svg") :]


def confusion(measured: Measured, short: Callable[[str], str]) -> str:
    """Rows: what a photo shows; columns: the first choice. Each row in per cent of its photos."""
    first = measured.probabilities.argmax(axis=1)
    shown = np.union1d(measured.truth, first)
    names = [short(measured.columns[column]) for column in shown]
    counts = confusion_matrix(measured.truth, first, labels=shown)
    share = counts / np.maximum(counts.sum(axis=1, keepdims=True), 1)
    many = len(shown) > 20

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        axes.imshow(share, cmap="Greens", vmin=0, vmax=1, aspect="equal")
        axes.set_xticks(range(len(shown)), names, rotation=45, ha="right", rotation_mode="anchor")
        axes.set_yticks(range(len(shown)), names)
        axes.set_xlabel("first choice of the model")
        axes.set_ylabel("what the photo shows")
        axes.spines[:].set_visible(False)
        axes.tick_params(length=0)
        for row, column in np.argwhere(counts > 0) if not many else ():
            value = share[row, column]
            text = f"{value * 100:.0f}" if value >= 0.005 else "<1"
            axes.text(column, row, text, ha="center", va="center", fontsize=9, color="white" if value > 0.6 else INK)

    side = 3.2 + 0.42 * len(shown) * (0.6 if many else 1)
    return svg(draw, side + 0.6, side)


def species_recall(measured: Measured, name: Callable[[str], str]) -> str:
    """Share named right, a dot a species, with the Wilson interval."""
    rows = sorted(measured.by_species, key=lambda s: s.recall)

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        for place, s in enumerate(rows):
            colour = MARK if s.known else WRONG
            axes.plot([s.low * 100, s.high * 100], [place, place], color=colour, linewidth=2.5, alpha=0.45)
            axes.plot(s.recall * 100, place, "o" if s.known else "s", color=colour, markersize=7)
        axes.set_yticks(range(len(rows)), [f"{name(s.species)} ({s.photos})" for s in rows])
        axes.set_xlim(-2, 102)
        axes.set_ylim(-0.6, len(rows) - 0.4)
        axes.set_xlabel("named right, % of photos")
        axes.grid(axis="x", color="#dde3de")
        axes.set_axisbelow(True)

    return svg(draw, 5.4, 1.0 + 0.31 * len(rows))


def reliability(measured: Measured, seed: int = 0) -> str:
    """Share right against confidence, in bins with equally many photos, on the band of perfect calibration."""
    confidence = measured.probabilities.max(axis=1)
    right = measured.probabilities.argmax(axis=1) == measured.truth
    parts = np.array_split(np.argsort(confidence, kind="stable"), min(BINS, len(confidence)))
    middle = np.array([confidence[part].mean() for part in parts])
    share = np.array([right[part].mean() for part in parts])
    low, high = null_band(confidence, parts, seed)

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        axes.plot([0, 1], [0, 1], color=SOFT, linewidth=1, linestyle="--")
        axes.vlines(middle, low, high, color="#c9d8cd", linewidth=9, label="range of a perfectly calibrated model")
        inside = (share >= low) & (share <= high)
        _dots(axes, middle[inside], share[inside], MARK, "o", "this model, within it")
        _dots(axes, middle[~inside], share[~inside], WRONG, "s", "this model, outside")
        axes.set_xlim(0, 1.02)
        axes.set_ylim(-0.02, 1.04)
        axes.set_xlabel("probability of the first choice")
        axes.set_ylabel("share that is right")
        axes.legend(loc="upper left", frameon=False, fontsize=9)

    return svg(draw, 5.0, 4.6)


def _dots(axes: Any, x: Array, y: Array, colour: str, marker: str, label: str) -> None:
    if len(x):
        axes.plot(x, y, marker, color=colour, markersize=7, label=label)


def null_band(confidence: Array, parts: Iterable[NDArray[np.int64]], seed: int) -> tuple[Array, Array]:
    """The range of the share right in each bin, for a perfectly calibrated model, 95 % of the time."""
    random = np.random.default_rng(seed)
    bands = [
        np.quantile((random.random((NULL_DRAWS, len(part))) < confidence[part]).mean(axis=1), [0.025, 0.975])
        for part in parts
    ]
    low, high = np.array(bands).T
    return low, high
