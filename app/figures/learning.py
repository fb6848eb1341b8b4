"""What a training came to, drawn: what the model takes for what, and how it grows with the number of photos."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from app.figures.picture import FAINT, INK, as_svg
from training.evaluate.learning_curve import Point

if TYPE_CHECKING:
    from matplotlib.figure import Figure

CONFUSION, CURVE = "What it takes for what", "What more photos bring"
SMALL = 8.5  # points: it is shown in its own size, and scrolled where it is wider than the page
MANY = 24  # names from which on the figures in the fields would be too small


def confusion_svg(named: Sequence[str], shown: Sequence[str], name: Callable[[str], str]) -> tuple[str, str]:
    """The confusion of the first choices ``named`` with what the photos have ``shown``: SVG, and the same in words."""
    labels = sorted({*named, *shown}, key=lambda label: (label == "other", name(label)))
    place = {label: i for i, label in enumerate(labels)}
    counts = np.zeros((len(labels), len(labels)))
    for one, other in zip(shown, named, strict=True):
        counts[place[one], place[other]] += 1
    names = [name(label) for label in labels]
    words = _confusions(counts, names)
    return as_svg(lambda: _matrix(counts, names), CONFUSION, words), words


def _confusions(counts: NDArray[Any], names: list[str]) -> str:
    """The commonest mistakes, in words."""
    mistakes = sorted((-int(n), names[i], names[j]) for (i, j), n in np.ndenumerate(counts) if n and i != j)[:3]
    listed = [f"{shown} was taken for {named} {f'{-n} times' if n < -1 else 'once'}" for n, shown, named in mistakes]
    right = f"{int(np.trace(counts))} of {int(counts.sum())} photos were named right"
    return f"{'; '.join([right, *listed])}."


def _matrix(counts: NDArray[Any], names: list[str]) -> Figure:
    from matplotlib.figure import Figure

    share = counts / np.maximum(counts.sum(axis=1, keepdims=True), 1)
    side = 1.55 + 0.24 * len(names)
    figure = Figure(figsize=(side, side), layout="constrained")
    axes = figure.subplots()
    axes.imshow(share, cmap="Greys", vmin=0, vmax=1, aspect="equal")
    axes.set_xticks(range(len(names)), names, rotation=90, fontsize=SMALL)
    axes.set_yticks(range(len(names)), names, fontsize=SMALL)
    axes.set_xlabel("first choice of the model", fontsize=SMALL)
    axes.set_ylabel("what the photo shows", fontsize=SMALL)
    axes.spines[:].set_visible(False)
    axes.tick_params(length=0)
    # Lines between the fields, so that an empty one is seen to be a field.
    axes.set_xticks(np.arange(len(names) + 1) - 0.5, minor=True)
    axes.set_yticks(np.arange(len(names) + 1) - 0.5, minor=True)
    axes.grid(which="minor", color=FAINT, linewidth=0.4)
    axes.tick_params(which="minor", length=0)
    for row, column in np.argwhere(counts > 0) if len(names) <= MANY else ():
        axes.text(
            column, row, f"{counts[row, column]:g}", ha="center", va="center", fontsize=SMALL,
            color="white" if share[row, column] > 0.5 else INK,
        )  # fmt: skip
    return figure


def curve_svg(points: Sequence[Point]) -> tuple[str, str]:
    """The learning curve: SVG, and the same in words."""
    shares = ", ".join(f"{p.right:.0%} from {p.photos} photos" for p in points)
    words = f"Named right of the photos held out: {shares}."
    return as_svg(lambda: _curve(points), CURVE, words), words


def _curve(points: Sequence[Point]) -> Figure:
    from matplotlib.figure import Figure
    from matplotlib.ticker import NullLocator

    figure = Figure(figsize=(4.6, 3.1), layout="constrained")
    axes = figure.subplots()
    photos = [p.photos for p in points]
    axes.fill_between(photos, [100 * p.low for p in points], [100 * p.high for p in points], color="#dfe4dd", lw=0)
    axes.plot(photos, [100 * p.right for p in points], "o-", color=INK, linewidth=2)
    axes.set_xscale("log")
    axes.set_xticks(photos, [str(p) for p in photos])
    axes.xaxis.set_minor_locator(NullLocator())
    axes.set_ylim(0, 103)
    axes.set_xlabel("own photos learned from")
    axes.set_ylabel("named right, %")
    axes.grid(axis="y", color="#e2e6e0")
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)
    return figure
