"""How often these people take one state for another: the rates of configs/observer.yaml, fitted to confirmed plants."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict

from model.errors import SwardkeyError
from model.traits.answers import Answers
from model.traits.likelihood import Likelihoods, Table, mistakes
from model.traits.observer import MOST_MISTAKEN, Mistaken, Observer

Array = NDArray[np.float64]
LEAST_PLANTS = 30  # confirmed plants with answers; of fewer nothing is learned
PRIOR = 25.0  # plants that the rates we begin with count for, by state shown
STEPS = 20  # of expectation and maximisation; the rates move by less than a thousandth after ten
LEAST_SHARE, MOST_SHARE = 0.005, 0.40
Plant = tuple[str, Answers]  # a confirmed species, and what was answered of it


class FitError(SwardkeyError):
    """There is too little to fit rates to. The message says what is missing."""


@dataclass(frozen=True)
class Rate:
    """How often one state is said to be another, as a share of plants: ``before`` the fit and ``after`` it.

    ``seen`` is the expected number of plants that show the state and of which the character was answered.
    """

    character: str
    shown: str
    named: str
    before: float
    after: float
    seen: float


class OwnRates(BaseModel):
    """Rates that were fitted to one user's records, as they are kept; ``plants`` is how many they were fitted to."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    plants: int
    rates: tuple[Rate, ...]


def fit_mistakes(likelihoods: Likelihoods, plants: Sequence[Plant]) -> tuple[Rate, ...]:
    """The rates at which states are taken for one another, fitted to plants whose names are certain.

    What a plant of a species that varies showed is weighed by what the file says and by what was answered; the rates
    that are there count as ``PRIOR`` plants of each state. Only pairs that configs/observer.yaml names are fitted.
    Raises FitError for fewer than LEAST_PLANTS plants of the flora.
    """
    index = {species: row for row, species in enumerate(likelihoods.flora.ids)}
    usable = [(index[species], answers) for species, answers in plants if species in index and any(answers.values())]
    if len(usable) < LEAST_PLANTS:
        raise FitError(
            f"{len(usable)} confirmed plants with answers are in the records; {LEAST_PLANTS} are needed before "
            "anything is learned from them"
        )
    found: list[Rate] = []
    for name in likelihoods.observer.mistakes:
        table = likelihoods.tables[name]
        told = [(row, answers[name]) for row, answers in usable if name in answers and table.known[row]]
        named = [
            (row, [table.column(s) for s in states]) for row, states in told if isinstance(states, tuple) and states
        ]
        found += _rates(table, likelihoods.observer, [(row, column) for row, columns in named for column in columns])
    return tuple(found)


def _rates(table: Table, observer: Observer, told: Iterable[tuple[int, int]]) -> list[Rate]:
    """The rates of one character; ``told`` are pairs of species row and answer column."""
    start = mistakes(table.character, table.answers, observer)
    rows = list(told)
    shares, seen = start, np.zeros(len(start))
    for _ in range(STEPS):
        counts = np.zeros_like(start)
        for row, column in rows:
            weight = table.truth[row] * shares[:, column]
            counts[:, column] += weight / weight.sum()
        seen = counts.sum(axis=1)
        shares = (PRIOR * start + counts) / (PRIOR + seen)[:, None]
    names = [str(answer) for answer in table.answers]
    return [
        Rate(
            table.character.id,
            one,
            two,
            share,
            _bounded(float(shares[names.index(one), names.index(two)])),
            float(seen[names.index(one)]),
        )
        for (one, two), share in observer.mistakes[table.character.id].items()
    ]


def _bounded(share: float) -> float:
    return min(max(share, LEAST_SHARE), MOST_SHARE)


def with_rates(observer: Observer, rates: Iterable[Rate]) -> Observer:
    """The observer with fitted rates in place of those that it had; rates of one state are kept under one half."""
    fitted = {(rate.character, rate.shown, rate.named): rate.after for rate in rates}
    taken_for: dict[str, list[Mistaken]] = {}
    for character, pairs in observer.mistakes.items():
        shares = {pair: fitted.get((character, *pair), share) for pair, share in pairs.items()}
        for one in {shown for shown, _ in shares}:
            lost = sum(share for (shown, _), share in shares.items() if shown == one)
            if lost > MOST_MISTAKEN:
                shares = {p: s * MOST_MISTAKEN / lost if p[0] == one else s for p, s in shares.items()}
        taken_for[character] = [Mistaken(states=[*pair], share=s, one_way=True) for pair, s in shares.items()]
    kept = {name: getattr(observer, name) for name in type(observer).model_fields}
    return Observer(**{**kept, "taken_for": taken_for})
