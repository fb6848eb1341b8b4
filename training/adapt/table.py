"""The table of the trials: means over the folds that are done."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from model.photo.evidence import POWER
from training.adapt.pack import THING

Line = tuple[str, str, list[dict[str, Any]], float]
ALL = "all"  # in the place of a fold: nothing was left out
WAY = f"over all plants ^ {POWER}"


def table(results: Mapping[str, Any], trials: Sequence[str], shots: Sequence[int], sources: Sequence[str]) -> str:
    """A Markdown table, one row a trial and blend: share named right by photos learned from, and AUROC.

    Folds weigh alike; what learned all classes has a row of its own, and nothing left out. ``sources``: those
    whose own figures are shown, at the most photos.
    """
    most = max(shots)
    heads = ["trial", "blend", "folds", *(f"{n}" for n in shots), *(f"{source} at {most}" for source in sources)]
    heads += ["left out", "no plant", "s"]
    lines = ["| " + " | ".join(heads) + " |", "|" + "---|" * len(heads)]
    lines += [_row(*row, shots, sources) for row in _rows(results, trials)]
    return "\n".join(lines)


def _rows(results: Mapping[str, Any], trials: Sequence[str]) -> Iterator[Line]:
    parted = [(*name.rsplit("-", 1), result) for name, result in results.items()]
    for trial in trials:
        for name, whole in ((trial, False), (f"{trial}, all learned", True)):
            folds = [result for of, fold, result in parted if of == trial and (fold == ALL) == whole]
            for blend in sorted({b for fold in folds for b in fold["blends"]}):
                said = [fold["blends"][blend] for fold in folds if blend in fold["blends"]]
                yield name, blend, said, float(np.mean([fold["learning_s"] for fold in folds]))


def _row(
    trial: str, blend: str, said: list[dict[str, Any]], seconds: float, shots: Sequence[int], sources: Sequence[str]
) -> str:
    cells = [trial, blend, str(len(said)), *(_mean([s["shots"][str(n)].get("all") for s in said]) for n in shots)]
    cells += [_mean([s["shots"][str(max(shots))].get(source) for s in said]) for source in sources]
    strange = [s["strange"].get(WAY, {}) for s in said]
    cells += [_auroc([s.get(name) for s in strange]) for name in ("left out", THING)]
    return "| " + " | ".join([*cells, f"{seconds:.0f}"]) + " |"


def _mean(pairs: Sequence[Sequence[float] | None]) -> str:
    here = [pair[0] for pair in pairs if pair]
    return f"{100 * float(np.mean(here)):.1f}" if here else ""


def _auroc(values: Sequence[float | None]) -> str:
    here = [value for value in values if value is not None]
    return f"{float(np.mean(here)):.3f}" if here else ""
