"""Which photos without a label to label next: those that the model is torn over, and that differ.

One photo is picked after the other, each time the one with the largest

    value = (1 - (p1 - p2)) * (1 - c)

p1 and p2: the two largest probabilities of its classes; c: the largest cosine of its features
with those of a photo that is labelled or picked already, both after the mean is taken off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.photo import Discriminant, Statistics, fit_statistics
from model.photo.head import softmax
from training.audit.out_of_sample import OutOfSample, joined

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
    count: int,
    background: Statistics | None = None,
) -> tuple[ToLabel, ...]:
    """The ``count`` photos that are worth labelling most, the best first.

    ``x`` float (photos, features) of the unlabelled ones, rows of NaN are passed over;
    ``labelled`` features and labels of the others; ``found`` gives shrinkage and temperature.
    """
    known, labels = labelled
    readable = np.flatnonzero(~np.isnan(x).any(axis=1))
    if len(readable) == 0 or len(found.classes) < 2:
        return ()
    own = fit_statistics(known, list(labels))
    head = Discriminant(joined(background, own) if background else own, found.shrinkage)
    if len(head.classes) < 2:
        return ()
    probabilities = softmax(head.scores(x[readable]) / found.temperature)
    order = np.argsort(-probabilities, axis=1, kind="stable")[:, :2]
    top = np.take_along_axis(probabilities, order, axis=1)
    picked = pick(1 - (top[:, 0] - top[:, 1]), x[readable], known, count)
    return tuple(
        ToLabel(names[readable[i]], (head.classes[order[i, 0]], head.classes[order[i, 1]]), round(value, 4))
        for i, value in picked
    )


def pick(doubt: Array, x: Array, known: Array, count: int) -> list[tuple[int, float]]:
    """Rows of ``x`` and their values when they were picked, one after the other, by the formula above."""
    centre = np.vstack([x, known]).mean(axis=0)
    unit, behind = _unit(x - centre), _unit(known - centre)
    nearest = (unit @ behind.T).max(axis=1) if len(behind) else np.zeros(len(unit))
    picked: list[tuple[int, float]] = []
    free = np.ones(len(unit), dtype=bool)
    for _ in range(min(count, len(unit))):
        value = np.where(free, doubt * (1 - nearest), -1.0)
        best = int(value.argmax())
        picked.append((best, float(value[best])))
        free[best] = False
        nearest = np.maximum(nearest, unit @ unit[best])
    return picked


def _unit(x: Array) -> Array:
    return np.asarray(x / np.maximum(np.linalg.norm(x, axis=1, keepdims=True), 1e-12))
