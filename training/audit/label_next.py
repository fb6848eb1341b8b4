"""Which photos without a label to label next: those that the model is torn over, and that differ.

One photo is picked after the other, each time the one with the largest

    value = (1 - (p1 - p2)) * (1 - c) ** d

p1 and p2: the two largest probabilities of its classes; c: the largest cosine of its features
with those of a photo that is picked already, -1 for the first, both after the mean is taken
off; d: `difference` of configs/audit.yaml. A copy of a picked photo has the value 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.photo.head import Discriminant, Statistics, softmax
from training.audit.out_of_sample import OutOfSample, learned
from training.audit.settings import Next

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ToLabel:
    """A photo that is worth labelling. ``torn`` are its two likeliest classes; ``value`` 0-2, higher is better."""

    photo: str
    torn: tuple[str, str]
    value: float


def rank_unlabelled(
    names: Sequence[str],
    x: Array,
    labelled: tuple[Array, Sequence[str]],
    found: OutOfSample,
    settings: Next,
    background: Statistics | None = None,
) -> tuple[ToLabel, ...]:
    """The photos that are worth labelling most, the best first, ``show_to_label`` of them.

    ``x`` float (photos, features) of the unlabelled ones, rows of NaN are passed over;
    ``labelled`` features and labels of the others; ``found`` gives shrinkage and temperature.
    """
    readable = np.flatnonzero(~np.isnan(x).any(axis=1))
    statistics = learned(*labelled, background)
    if len(readable) == 0 or statistics is None or len(statistics.classes) < 2:
        return ()
    head = Discriminant(statistics, found.shrinkage)
    probabilities = softmax(head.scores(x[readable]) / found.temperature)
    order = np.argsort(-probabilities, axis=1, kind="stable")[:, :2]
    top = np.take_along_axis(probabilities, order, axis=1)
    picked = pick(1 - (top[:, 0] - top[:, 1]), x[readable], settings.show_to_label, settings.difference)
    return tuple(
        ToLabel(names[readable[i]], (head.classes[order[i, 0]], head.classes[order[i, 1]]), round(value, 4))
        for i, value in picked
    )


def pick(doubt: Array, x: Array, count: int, difference: float) -> list[tuple[int, float]]:
    """Rows of ``x`` and their values when they were picked, one after the other, by the formula above.

    Ends early where only copies of picked photos, or photos without doubt, are left.
    """
    unit = x - x.mean(axis=0)
    unit = unit / np.maximum(np.linalg.norm(unit, axis=1, keepdims=True), 1e-12)
    nearest = np.full(len(unit), -1.0)
    picked: list[tuple[int, float]] = []
    for _ in range(min(count, len(unit))):
        value = doubt * np.maximum(1 - nearest, 0.0) ** difference
        value[[row for row, _ in picked]] = 0.0
        best = int(value.argmax())
        if value[best] <= 1e-6:
            break
        picked.append((best, float(value[best])))
        # Beyond rounding, a cosine of 1 is the same photo.
        alike = unit @ unit[best]
        nearest = np.maximum(nearest, np.where(alike > 1 - 1e-9, 1.0, alike))
    return picked
