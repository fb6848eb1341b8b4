"""What plants of one age show for a character according to the species files, before any observer error."""

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
LEAST_KNOWN = 0.5  # share of the plants of an age that the file describes
LEAST_WEIGHT = 1e-12  # of any reading: none is impossible
DISTANT = 1e-9  # weight of a reading that is hardly ever made


@dataclass(frozen=True)
class Shown:
    """One character over all species.

    ``truth`` float (species, answers): the share of plants that show each, rows sum to 1.
    ``fits`` the same with only part of the penalty for a variable species; rows may sum to more than 1.
    ``known`` bool (species,), ``in_file`` bool (species, answers): what the files describe.
    """

    truth: Array
    fits: Array
    known: NDArray[np.bool_]
    in_file: NDArray[np.bool_]


def shown(character: Character, scores: Sequence[Score | None], answers: Names, observer: Observer, age: Age) -> Shown:
    """What each species shows at an age; uniform over the answers where that is unknown."""
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
    older, younger = _or_uniform(older), _or_uniform(younger)
    truth = share[:, None] * older + (1 - share[:, None]) * younger
    if character.kind == "choice":
        power = np.array([observer.together if s is not None and s.together else observer.varies for s in scores])
        fits = truth ** power[:, None]
        fits[~known] = 1.0 / count
    else:
        spans = (_narrow(rows, known, observer) for rows in (older, younger))
        fits = sum(part[:, None] * rows for part, rows in zip((share, 1 - share), spans, strict=True))
    return Shown(truth, fits, known, in_file)


def _or_uniform(weights: Array) -> Array:
    """Rows scaled to sum to 1; uniform where there is nothing."""
    total = weights.sum(axis=1, keepdims=True)
    return np.where(total > 0, weights / np.where(total > 0, total, 1.0), 1.0 / weights.shape[1])


def _narrow(rows: Array, known: NDArray[np.bool_], observer: Observer) -> Array:
    """Rows that sum to 1, with part of the penalty for a wide span removed, relative to the median width."""
    width = 1.0 / rows.max(axis=1, keepdims=True)
    median = float(np.median(width[known])) if known.any() else 1.0
    return np.asarray(rows * (width / median) ** (1 - observer.varies))


class _Scale:
    """The answers to one character, and the weight of each for a value of a file, up to a factor."""

    def __init__(self, character: Character, answers: Names, observer: Observer) -> None:
        self.observer, self.count = observer, len(answers)
        self.columns = {str(answer): i for i, answer in enumerate(answers)}
        self.numbers = np.array([a for a in answers if not isinstance(a, str)], dtype=float)
        self.logs = np.log(self.numbers)
        self.shoulder = observer.shoulder[character.unit or "mm"]

    def weights(self, value: Score | States | Range) -> Array:
        """Float (answers,): states by their frequency, a range with soft shoulders, months with those close by."""
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
        # December is next to January.
        gaps = np.abs(self.numbers[:, None] - np.array(months))
        away = np.minimum(gaps, 12 - gaps).min(axis=1)
        return np.asarray(np.exp(-0.5 * (away / self.observer.month_shoulder) ** 2))
