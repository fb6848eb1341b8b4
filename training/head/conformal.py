"""Sets of classes that hold the right one as often as promised: LAC sets (Sadinle, Lei and Wasserman 2019).

A class is in the set of a photo when its probability reaches a threshold, chosen on photos
of the conformal part so that the right class does so with the coverage that was asked for.
Classes with enough such photos have a threshold of their own; the others share one. Of all
sets with that coverage these are the smallest on average; a set may be empty, which says
that no class is likely enough.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from model.errors import ModelError
from model.flora.species import Entry
from model.photo.saved import read_description

Array = NDArray[np.float64]
FILE = "conformal.json"
OWN_THRESHOLD = 40  # photos of a class from which it has a threshold of its own
DRAWS = 20_000


class Cell(Entry):
    """Classes that share one threshold. ``photos`` of the conformal part it rests on, ``effective`` of which
    are independent (photos of one group count as one at worst); ``rank`` of them lie below it."""

    columns: Annotated[tuple[Annotated[int, Field(ge=0)], ...], Field(min_length=1)]
    threshold: Annotated[float, Field(ge=0, le=1)]
    photos: Annotated[int, Field(ge=1)]
    effective: Annotated[float, Field(gt=0)]
    rank: Annotated[int, Field(ge=0)]


class LacSets(Entry):
    """Thresholds on the probability of each class, as conformal.json holds them. ``classes`` names the columns,
    the last is other."""

    classes: Annotated[tuple[str, ...], Field(min_length=2)]
    coverage: Annotated[float, Field(gt=0, lt=1)]
    cells: Annotated[tuple[Cell, ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _one_threshold_a_class(self) -> LacSets:
        if sorted(c for cell in self.cells for c in cell.columns) != list(range(len(self.classes))):
            raise ValueError("it does not give one threshold a class")
        return self

    @property
    def thresholds(self) -> Array:
        """One threshold a column, float (classes,)."""
        found = np.zeros(len(self.classes))
        for cell in self.cells:
            found[list(cell.columns)] = cell.threshold
        return found


def conformalize(
    probabilities: Array,
    truth: NDArray[np.int64],
    coverage: float,
    classes: Sequence[str] | None = None,
    groups: Sequence[str] | None = None,
    least: int = OWN_THRESHOLD,
) -> LacSets:
    """Thresholds from photos that neither the head nor its calibration has seen.

    ``probabilities`` float (photos, classes), calibrated; ``truth`` the right columns;
    ``coverage`` in 0-1. Without ``groups`` every photo is taken to be independent. Raises
    ValueError where these do not fit together.
    """
    n, k = probabilities.shape
    if len(truth) != n or n == 0:
        raise ValueError(f"{n} rows of probabilities and {len(truth)} right columns; give one each, at least one")
    if not 0 < coverage < 1:
        raise ValueError(f"coverage {coverage} is not between 0 and 1")
    names = tuple(classes) if classes is not None else tuple(map(str, range(k)))
    where = np.array(groups) if groups is not None else np.arange(n)
    own = probabilities[np.arange(n), truth]
    counts = np.bincount(truth, minlength=k)
    alone = [c for c in range(k) if counts[c] >= least]
    rest = [c for c in range(k) if counts[c] < least]
    cells = [_cell((c,), own[truth == c], where[truth == c], coverage) for c in alone]
    if rest:
        # Rare classes share what they have together; while even that is too little, all photos.
        shared = np.isin(truth, rest)
        use = shared if shared.sum() >= least else np.ones(n, dtype=bool)
        cells.append(_cell(tuple(rest), own[use], where[use], coverage))
    return LacSets(classes=names, coverage=coverage, cells=tuple(cells))


def _cell(columns: tuple[int, ...], own: Array, groups: NDArray[Any], coverage: float) -> Cell:
    # At most this many of the photos may lie below: then the next one is covered as promised.
    rank = int(np.floor((len(own) + 1) * (1 - coverage) + 1e-9))
    threshold = float(np.clip(np.sort(own)[rank - 1], 0, 1)) if rank else 0.0  # P(other) may lie below 0 by rounding
    effective = effective_sample_size(groups)
    return Cell(columns=columns, threshold=threshold, photos=len(own), effective=effective, rank=rank)


def effective_sample_size(groups: Sequence[Any] | NDArray[Any]) -> float:
    """How many independent photos these are worth, if photos of one group were all alike (Kish 1965).

    >>> effective_sample_size(["a", "b", "c"]), effective_sample_size(["a", "a", "b", "b"])
    (3.0, 2.0)
    """
    sizes = np.unique(np.asarray(groups), return_counts=True)[1].astype(float)
    return float(sizes.sum() ** 2 / (sizes**2).sum()) if len(sizes) else 0.0


def predict_set(sets: LacSets, probabilities: Array) -> NDArray[np.bool_]:
    """Which classes are in the set of each photo, bool (photos, classes).

    Raises ModelError when the sets are those of another model.
    """
    if probabilities.shape[1] != len(sets.classes):
        raise ModelError(
            f"the sets are for {len(sets.classes)} classes, not {probabilities.shape[1]}; conformalize this model again"
        )
    return np.asarray(probabilities >= sets.thresholds)


@dataclass(frozen=True)
class SetFigures:
    """Sets of some photos: share that hold the right class, how large, how many empty; and the span in
    which the share lies with ``level`` when all is as promised, given how few photos there are.
    ``clear`` is the coverage without photos that lie exactly on a threshold."""

    coverage: float
    clear: float
    mean_size: float
    empty: float
    low: float
    high: float
    level: float


def measure_sets(
    sets: LacSets,
    probabilities: Array,
    truth: NDArray[np.int64],
    groups: Sequence[str],
    level: float = 0.95,
    seed: int = 0,
) -> SetFigures:
    """Measure sets on photos that were not conformalized on; see SetFigures."""
    predicted = predict_set(sets, probabilities)
    rows = np.arange(len(truth))
    low, high = coverage_span(sets, truth, groups, level, seed)
    return SetFigures(
        coverage=float(predicted[rows, truth].mean()),
        clear=float((probabilities[rows, truth] > sets.thresholds[truth]).mean()),
        mean_size=float(predicted.sum(axis=1).mean()),
        empty=float((~predicted.any(axis=1)).mean()),
        low=low,
        high=high,
        level=level,
    )


def coverage_span(
    sets: LacSets, truth: NDArray[np.int64], groups: Sequence[str], level: float, seed: int = 0
) -> tuple[float, float]:
    """Lowest and highest share of photos covered that chance explains, on photos like the conformal ones.

    The coverage of one cell is Beta(n + 1 - rank, rank) over draws of its n conformal photos
    (Vovk 2012), and the photos covered out of m are binomial in it; n and m are counted as
    effective photos. Cells add up by their share of the photos; drawn, because the sum has
    no closed form.
    """
    random = np.random.default_rng(seed)
    where = np.array(groups)
    total = np.zeros(DRAWS)
    for cell in sets.cells:
        here = np.isin(truth, cell.columns)
        if not here.any():
            continue
        if cell.rank == 0:
            total += here.mean()
            continue
        shrink = cell.effective / cell.photos
        a, b = (cell.photos + 1 - cell.rank) * shrink, cell.rank * shrink
        m = max(round(effective_sample_size(where[here])), 1)
        total += here.mean() * random.binomial(m, random.beta(a, b, DRAWS)) / m
    tail = (1 - level) / 2
    low, high = np.quantile(total, [tail, 1 - tail])
    return float(low), float(high)


def save_sets(folder: Path, sets: LacSets) -> None:
    """Write conformal.json into the folder of a model that is being made."""
    (folder / FILE).write_text(sets.model_dump_json(indent=2) + "\n", encoding="utf-8")


def read_sets(folder: Path) -> LacSets | None:
    """The sets of a model folder, or None when it has none. Raises ModelError naming the file."""
    return read_description(folder / FILE, LacSets, "sets") if (folder / FILE).exists() else None
