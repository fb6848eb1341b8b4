"""P(answer | species) for every character: the tables that the whole key rests on."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from model.flora.character import Character
from model.flora.load import Flora
from model.flora.species import Score
from model.traits.answers import Answer, Answers
from model.traits.observer import Observer

Array = NDArray[np.float64]
STEPS = 28  # readings of a length that are told apart, evenly spaced in its logarithm
AGREES, DISAGREES = 0.5, 0.01  # a reading's density, against the species' own highest


@dataclass(frozen=True)
class Table:
    """One character over all hypotheses.

    ``answers``: what may be answered (states, or the middle of each step of readings).
    ``truth`` float (species, answers): what each species shows, rows sum to 1.
    ``rows`` float (species + 1, answers): P(answer | hypothesis) with the observer's errors;
    the last row is ``unlisted``. Rows sum to 1, or to the error where the species has no
    such part.
    ``known``, ``applicable`` bool (species,): whether the file scores it; whether it exists.
    """

    character: Character
    answers: tuple[str, ...] | tuple[float, ...]
    truth: Array
    rows: Array
    known: NDArray[np.bool_]
    applicable: NDArray[np.bool_]

    def column(self, value: str | float) -> int:
        """Index of an answer: of the state, or of the step nearest to the reading."""
        if isinstance(value, str):
            return self.answers.index(value)
        logs = np.log(np.asarray(self.answers, dtype=float))
        return int(np.abs(logs - math.log(value)).argmin())

    def likelihood(self, answer: Answer) -> Array:
        """P(answer | hypothesis), float (species + 1,); all ones for unsure.

        Where the plant shows several states, their geometric mean: a species that has them
        all comes first, one that has some of them next.
        """
        values = answer if isinstance(answer, tuple) else (answer,)
        if not values:
            return np.ones(len(self.rows))
        columns = [self.column(value) for value in values]
        mean: Array = np.exp(np.log(self.rows[:, columns]).mean(axis=1))
        return mean

    def verdict(self, answer: Answer, species: int) -> str | None:
        """``agrees``, ``disagrees`` or None (unknown, unsure or in between)."""
        values = answer if isinstance(answer, tuple) else (answer,)
        if not values:
            return None
        if not self.applicable[species]:
            return "disagrees"
        if not self.known[species]:
            return None
        own = self.truth[species]
        share = max(own[self.column(value)] for value in values) / own.max()
        if self.character.kind == "choice":
            return "agrees" if share > 0 else "disagrees"
        return "agrees" if share >= AGREES else "disagrees" if share < DISAGREES else None


class Likelihoods:
    """The tables of all characters of one flora, for one kind of observer."""

    def __init__(self, flora: Flora, observer: Observer) -> None:
        self.flora = flora
        self.observer = observer
        self.tables = {c: _table(flora, observer, character) for c, character in flora.characters.items()}

    def log_likelihood(self, answers: Answers) -> Array:
        """ln P(answers | hypothesis), float (species + 1,), last is unlisted.

        A plain sum over answers, so their order does not matter and unsure adds nothing.
        """
        total = np.zeros(len(self.flora.ids) + 1)
        for character in sorted(answers):
            total += np.log(self.tables[character].likelihood(answers[character]))
        return total

    @cached_property
    def stacked(self) -> Array:
        """All tables side by side, float (species + 1, sum of answers): for choosing questions."""
        return np.concatenate([table.rows for table in self.tables.values()], axis=1)

    @cached_property
    def stacked_logs(self) -> Array:
        """P log2 P of each entry of ``stacked``."""
        return self.stacked * np.log2(np.where(self.stacked > 0, self.stacked, 1.0))

    @cached_property
    def highest(self) -> Array:
        """The highest P of each column of ``stacked``."""
        return np.asarray(self.stacked.max(axis=0))

    @cached_property
    def starts(self) -> NDArray[np.int64]:
        """First column of each character in ``stacked``."""
        widths = [table.rows.shape[1] for table in self.tables.values()]
        return np.cumsum([0, *widths[:-1]])

    @cached_property
    def applicable(self) -> NDArray[np.bool_]:
        """Whether each species has the part, bool (species, characters)."""
        return np.stack([table.applicable for table in self.tables.values()], axis=1)

    @cached_property
    def times(self) -> Array:
        """Time that each character's question costs, reading included, in glances."""
        efforts = [self.observer.cost[c.effort] for c in self.flora.characters.values()]
        return self.observer.reading + np.array(efforts)


def _table(flora: Flora, observer: Observer, character: Character) -> Table:
    answers = _answers(character)
    count = len(answers)
    truth = np.full((len(flora.ids), count), 1.0 / count)
    known = np.zeros(len(flora.ids), dtype=bool)
    applicable = np.array([flora.is_applicable(s, character.id) for s in flora.ids])
    for row, species in enumerate(flora.ids):
        score = flora.species[species].characters.get(character.id)
        if isinstance(score, Score):
            known[row] = True
            truth[row] = _shown(character, score, answers, observer)
    error = observer.error[character.effort]
    rows = (1 - error) * truth + error / count
    rows[~known & applicable] = 1.0 / count
    rows[~applicable] = error / count
    return Table(character, answers, truth, _with_unlisted(rows, known & applicable, observer), known, applicable)


def _with_unlisted(rows: Array, informative: NDArray[np.bool_], observer: Observer) -> Array:
    even = np.full(rows.shape[1], 1.0 / rows.shape[1])
    pooled = rows[informative].mean(axis=0) if informative.any() else even
    return np.vstack([rows, observer.background * pooled + (1 - observer.background) * even])


def _answers(character: Character) -> tuple[str, ...] | tuple[float, ...]:
    if character.kind == "choice":
        return tuple(character.states)
    if character.kind == "month":
        return tuple(float(m) for m in range(1, 13))
    low, high = character.domain or (1.0, 1.0)
    steps = np.geomspace(low, high, STEPS)
    if character.unit == "count":
        steps = np.unique(np.concatenate([np.arange(low, min(high, 15) + 1), np.round(steps)]))
    return tuple(float(step) for step in steps)


def _shown(
    character: Character, score: Score, answers: tuple[str, ...] | tuple[float, ...], observer: Observer
) -> Array:
    """What one species shows: probability of each true answer, sums to 1."""
    if score.states is not None:
        weights = np.array([observer.frequency[score.states[a]] if a in score.states else 0.0 for a in answers])
    elif score.months is not None:
        # A year is a ring: December is next to January.
        away = np.array([min(min(abs(a - m), 12 - abs(a - m)) for m in score.months) for a in answers])  # type: ignore[operator]
        weights = np.exp(-0.5 * (away / observer.month_shoulder) ** 2)
    else:
        low, high = score.range or (1.0, 1.0)
        logs = np.log(np.asarray(answers, dtype=float))
        away = np.maximum(0.0, np.maximum(math.log(low) - logs, logs - math.log(high)))
        weights = np.exp(-0.5 * (away / observer.shoulder[character.unit or "mm"]) ** 2)
        weights = np.maximum(weights, 1e-12)
    whole: Array = weights / weights.sum()
    return whole
