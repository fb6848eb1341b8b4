"""What plants of one age show for a character, as the species files have it: before anybody misreads it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.flora.character import Character
from model.flora.species import Range, Score, States
from model.traits.observer import Age, Observer

Array = NDArray[np.float64]
Names = tuple[str, ...] | tuple[float, ...]
LEAST_KNOWN = 0.5  # share of the plants of an age of which the file speaks
LEAST_WEIGHT = 1e-12  # of any reading: none is impossible
DISTANT = 1e-9  # weight of a reading that is as good as never made


@dataclass(frozen=True)
class Shown:
    """One character over all species.

    ``truth`` float (species, answers): the share of plants that show each, rows sum to 1.
    ``fits`` the same, in which a species that varies pays for it only in part; rows may sum to more than 1.
    ``known`` bool (species,), ``in_file`` bool (species, answers): what the files speak of.
    """

    truth: Array
    fits: Array
    known: NDArray[np.bool_]
    in_file: NDArray[np.bool_]


def shown(character: Character, scores: Sequence[Score | None], answers: Names, observer: Observer, age: Age) -> Shown:
    """What each species shows at an age; even over the answers where nothing is known of it."""
    scale, count = _Scale(character, answers, observer), len(answers)
    older, younger = np.zeros((2, len(scores), count))
    share = np.ones(len(scores))
    for row, score in enumerate(scores):
        if score is None:
            continue
        older[row] = scale.weights(score)
        if score.when is not None:
            share[row] = observer.age[age][score.when]
            if score.before is not None:
                younger[row] = scale.weights(score.before)
    known = (older.any(axis=1) & (share >= LEAST_KNOWN)) | younger.any(axis=1)
    in_file = (older > DISTANT) | (younger > DISTANT)
    older, younger = _or_even(older), _or_even(younger)
    truth = share[:, None] * older + (1 - share[:, None]) * younger
    if character.kind == "choice":
        power = np.array([observer.together if s is not None and s.together else observer.varies for s in scores])
        fits = truth ** power[:, None]
        fits[~known] = 1.0 / count
    else:
        spans = (_narrow(rows, known, observer) for rows in (older, younger))
        fits = sum(part[:, None] * rows for part, rows in zip((share, 1 - share), spans, strict=True))
    return Shown(truth, fits, known, in_file)


def _or_even(weights: Array) -> Array:
    """Rows scaled to sum to 1; even where there is nothing."""
    whole = weights.sum(axis=1, keepdims=True)
    return np.where(whole > 0, weights / np.where(whole > 0, whole, 1.0), 1.0 / weights.shape[1])


def _narrow(rows: Array, known: NDArray[np.bool_], observer: Observer) -> Array:
    """Rows that sum to 1, with wide spans made good in part against those of a middling width."""
    width = 1.0 / rows.max(axis=1, keepdims=True)
    middling = float(np.median(width[known])) if known.any() else 1.0
    return np.asarray(rows * (width / middling) ** (1 - observer.varies))


class _Scale:
    """The answers to one character, and how much of each one value of a file holds, up to a factor."""

    def __init__(self, character: Character, answers: Names, observer: Observer) -> None:
        self.observer, self.count = observer, len(answers)
        self.columns = {str(answer): i for i, answer in enumerate(answers)}
        self.numbers = np.array([a for a in answers if not isinstance(a, str)], dtype=float)
        self.logs = np.log(self.numbers)
        self.shoulder = observer.shoulder[character.unit or "mm"]

    def weights(self, value: Score | States | Range) -> Array:
        """Float (answers,): of states by their frequency, of a range with soft shoulders, of months with their eve."""
        if isinstance(value, Score):
            if value.months is not None:
                return self._months(value.months)
            value = value.states or value.range or (1.0, 1.0)
        if isinstance(value, dict):
            weights = np.zeros(self.count)
            for state, often in value.items():
                weights[self.columns[state]] = self.observer.frequency[often]
            return weights
        low, high = (math.log(end) for end in value)
        away = np.maximum(0.0, np.maximum(low - self.logs, self.logs - high))
        return np.asarray(np.maximum(np.exp(-0.5 * (away / self.shoulder) ** 2), LEAST_WEIGHT))

    def _months(self, months: Sequence[int]) -> Array:
        # A year is a ring: December is next to January.
        gaps = np.abs(self.numbers[:, None] - np.array(months))
        away = np.minimum(gaps, 12 - gaps).min(axis=1)
        return np.asarray(np.exp(-0.5 * (away / self.observer.month_shoulder) ** 2))
