"""P(answer | species) for every character: the tables that the key is built on."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from model.flora.character import Character
from model.flora.load import Flora
from model.flora.species import Score
from model.traits.answers import Answer, Answers
from model.traits.observer import Age, Observer, check_mistakes
from model.traits.shown import shown

Array = NDArray[np.float64]
STEPS = 28  # bins of a length, evenly spaced in its logarithm
AGREES, DISAGREES = 0.5, 0.01  # density of a reading relative to the species' highest
MISREAD = 1e-3  # the same: a lower one is further off than people misread a ruler
USUAL = 0.1  # share of a state relative to the commonest, from which it is not rare


@dataclass(frozen=True)
class Table:
    """One character over all hypotheses.

    ``answers``: the possible answers (states, or the middle of each bin of readings).
    ``truth`` float (species, answers): what each species shows, rows sum to 1.
    ``rows`` float (species + 1, answers): P(answer | hypothesis) with the observer's errors, by which answers are
    predicted; the last row is ``unlisted``. Rows sum to 1, or to the error where the species lacks the part.
    ``known``, ``applicable`` bool (species,): whether the file scores it; whether the plant has the part.
    ``fits`` as ``rows`` with a smaller penalty for variable species, by which a given answer is weighted (``rows``
    where there is none). Rows may sum to more than 1.
    ``in_file`` bool (species, answers): what the files describe, at any age, however rarely.
    ``mistaken`` bool (answers, answers): whether the first is known to be taken for the second.
    """

    character: Character
    answers: tuple[str, ...] | tuple[float, ...]
    truth: Array
    rows: Array
    known: NDArray[np.bool_]
    applicable: NDArray[np.bool_]
    fits: Array | None = None
    in_file: NDArray[np.bool_] | None = None
    mistaken: NDArray[np.bool_] | None = None

    def column(self, value: str | float) -> int:
        """Index of an answer: of the state, or of the bin nearest to the reading."""
        if isinstance(value, str):
            return self.answers.index(value)
        logs = np.log(np.asarray(self.answers, dtype=float))
        return int(np.abs(logs - math.log(value)).argmin())

    def _columns(self, answer: Answer) -> list[int]:
        """The columns of an answer; none for unsure."""
        return [self.column(value) for value in (answer if isinstance(answer, tuple) else (answer,))]

    def likelihood(self, answer: Answer) -> Array:
        """P(answer | hypothesis), float (species + 1,); all ones for unsure.

        Where the plant shows several states, their geometric mean: a species that has them all comes first, then one
        that has some of them.
        """
        columns = self._columns(answer)
        if not columns:
            return np.ones(len(self.rows))
        weights = self.rows if self.fits is None else self.fits
        mean: Array = np.exp(np.log(weights[:, columns]).mean(axis=1))
        return mean

    def is_slip(self, answer: Answer, species: int) -> bool:
        """Whether people are known to give this answer for a species that usually shows something else.

        For numbers: whether the reading is as close to the species' range as people misread.
        """
        if not self.applicable[species]:
            return False
        columns, own = self._columns(answer), self.truth[species]
        if self.character.kind != "choice" or self.mistaken is None:
            return bool(max(own[column] for column in columns) >= MISREAD * own.max())
        usual = own >= USUAL * own.max()
        return bool(all(usual[column] or self.mistaken[usual, column].any() for column in columns))

    def verdict(self, answer: Answer, species: int) -> str | None:
        """``agrees``, ``disagrees`` or None (unknown, unsure or in between)."""
        return {1: "agrees", -1: "disagrees"}.get(int(self.verdicts(answer)[species]))

    def verdicts(self, answer: Answer) -> NDArray[np.int64]:
        """For every species 1 where the answer agrees with it, -1 where it disagrees, else 0."""
        columns = self._columns(answer)
        if not columns:
            return np.zeros(len(self.truth), dtype=np.int64)
        if self.character.kind == "choice":
            shown = self.truth > 0 if self.in_file is None else self.in_file
            fits = shown[:, columns].any(axis=1)
            against = ~fits
        else:
            share = self.truth[:, columns].max(axis=1) / self.truth.max(axis=1)
            fits, against = share >= AGREES, share < DISAGREES
        verdicts = np.where(fits, 1, np.where(against, -1, 0))
        return np.where(self.applicable, np.where(self.known, verdicts, 0), -1)


class Likelihoods:
    """The tables of all characters of one flora, for one kind of observer and plants of one age.

    ``age`` is given by what can be seen: leaves only, flowers or ripe seed; or it is unknown.
    """

    def __init__(self, flora: Flora, observer: Observer, age: Age = "unknown") -> None:
        check_mistakes(observer, flora.characters)
        self.flora = flora
        self.observer = observer
        self.age = age
        self.tables = {c: _table(flora, observer, character, age) for c, character in flora.characters.items()}

    def log_likelihood(self, answers: Answers) -> Array:
        """ln P(answers | hypothesis), float (species + 1,), last is unlisted.

        A sum over answers, so their order does not matter and unsure adds nothing.
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
        """Time to read and answer each character's question, in glances."""
        efforts = [self.observer.cost[c.effort] for c in self.flora.characters.values()]
        return self.observer.reading + np.array(efforts)

    @cached_property
    def answerable(self) -> Array:
        """Chance that a person can answer each character's question at all, before any was asked."""
        observer, characters = self.observer, self.flora.characters.values()
        taps = [observer.second_tap if c.groups else 1.0 for c in characters]
        seldom = [observer.seldom.get(c.id, 1.0) for c in characters]
        return np.array([observer.answerable[c.effort] for c in characters]) * taps * seldom

    def answerable_after(self, unsure: Collection[str]) -> Array:
        """The same after unsure answers to those characters, which make similar ones less likely to be answered."""
        after, chance = self.observer.after_unsure, self.answerable.copy()
        for name in unsure:
            asked = self.flora.characters[name]
            for i, character in enumerate(self.flora.characters.values()):
                same_part = character.part == asked.part != "leaves"
                same_effort = character.effort == asked.effort != "glance"
                gated = name in character.applies_when
                chance[i] *= (after.part if same_part else 1) * (after.effort if same_effort else 1)
                chance[i] *= after.gate if gated else 1
        return chance


def _table(flora: Flora, observer: Observer, character: Character, age: Age) -> Table:
    answers = _answers(character)
    count = len(answers)
    applicable = np.array([flora.is_applicable(s, character.id) for s in flora.ids])
    scores = [flora.species[s].characters.get(character.id) for s in flora.ids]
    seen = shown(character, [s if isinstance(s, Score) else None for s in scores], answers, observer, age)
    errs = mistakes(character, answers, observer)
    rows, fits = seen.truth @ errs, seen.fits @ errs
    for table in (rows, fits):
        table[~seen.known & applicable] = 1.0 / count
        table[~applicable] = observer.error[character.effort] / count
    informative = seen.known & applicable
    return Table(
        character,
        answers,
        seen.truth,
        _with_unlisted(rows, informative, observer),
        seen.known,
        applicable,
        _with_unlisted(fits, informative, observer),
        seen.in_file,
        _mistaken(character, observer),
    )


def mistakes(character: Character, answers: tuple[str, ...] | tuple[float, ...], observer: Observer) -> Array:
    """P(answer given | true answer), float (answers, answers), rows sum to 1."""
    count, error = len(answers), observer.error[character.effort]
    names = [str(answer) for answer in answers]
    matrix = np.zeros((count, count))
    for (one, other), share in observer.mistakes.get(character.id, {}).items():
        matrix[names.index(one), names.index(other)] = share
    for row in matrix:
        # Known slips are part of the error, and never quite all of it.
        row += max(error - row.sum(), error * observer.elsewhere) / count
    matrix[np.diag_indices(count)] += 1.0 - matrix.sum(axis=1)
    return matrix


def _mistaken(character: Character, observer: Observer) -> NDArray[np.bool_] | None:
    if character.kind != "choice":
        return None
    names = list(character.states)
    mistaken = np.zeros((len(names), len(names)), dtype=bool)
    for shown_state, named in observer.mistakes.get(character.id, {}):
        mistaken[names.index(shown_state), names.index(named)] = True
    return mistaken


def _with_unlisted(rows: Array, informative: NDArray[np.bool_], observer: Observer) -> Array:
    uniform = np.full(rows.shape[1], 1.0 / rows.shape[1])
    pooled = rows[informative].mean(axis=0) if informative.any() else uniform
    return np.vstack([rows, observer.background * pooled + (1 - observer.background) * uniform])


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
