"""How often the user takes one state for another: the rates of configs/observer.yaml, fitted to confirmed plants."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from model.errors import SwardkeyError
from model.flora.species import Entry
from model.traits.answers import Answers
from model.traits.likelihood import Likelihoods, Table, mistakes
from model.traits.observer import MOST_MISTAKEN, Mistaken, Observer

Array = NDArray[np.float64]
LEAST_PLANTS = 30  # confirmed plants with answers; nothing is learned from fewer
PRIOR = 25.0  # plants that the initial rates count for, by state shown
STEPS = 20  # of expectation-maximisation; the rates move by less than a thousandth after ten
LEAST_SHARE, MOST_SHARE = 0.005, 0.40
Plant = tuple[str, Answers]  # a confirmed species, and what was answered of it


class FitError(SwardkeyError):
    """There are too few records to fit rates to. The message says what is missing."""


@dataclass(frozen=True)
class Rate:
    """How often one state is named as another, as a share of plants: ``before`` the fit and ``after`` it.

    ``seen`` is the expected number of plants that show the state and for which the character was answered.
    """

    character: str
    shown: str
    named: str
    before: float
    after: Annotated[float, Field(gt=0, lt=1)]
    seen: float


class OwnRates(Entry):
    """Rates fitted to one user's records, as they are kept; ``plants`` is how many they were fitted to."""

    plants: int
    rates: tuple[Rate, ...]


def fit_mistakes(likelihoods: Likelihoods, plants: Sequence[Plant]) -> tuple[Rate, ...]:
    """The rates at which states are taken for one another, fitted to plants whose names are certain.

    Expectation-maximisation: what a plant of a variable species showed is weighted by its file and by the answer. The
    initial rates count as ``PRIOR`` plants of each state. Only pairs that configs/observer.yaml names are fitted.
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
        answered = [(row, answers[name]) for row, answers in usable if name in answers and table.known[row]]
        pairs = [(row, table.column(s)) for row, states in answered if isinstance(states, tuple) for s in states]
        found += _rates(table, likelihoods.observer, pairs)
    return tuple(found)


def _rates(table: Table, observer: Observer, pairs: Sequence[tuple[int, int]]) -> list[Rate]:
    """The rates of one character; ``pairs`` of species row and answer column."""
    start = mistakes(table.character, table.answers, observer)
    shares, seen = start, np.zeros(len(start))
    for _ in range(STEPS):
        counts = np.zeros_like(start)
        for row, column in pairs:
            weight = table.truth[row] * shares[:, column]
            counts[:, column] += weight / weight.sum()
        seen = counts.sum(axis=1)
        shares = (PRIOR * start + counts) / (PRIOR + seen)[:, None]
    bounded, name = np.clip(shares, LEAST_SHARE, MOST_SHARE), table.character.id
    found = []
    for (one, two), share in observer.mistakes[name].items():
        row, column = table.column(one), table.column(two)
        found.append(Rate(name, one, two, share, float(bounded[row, column]), float(seen[row])))
    return found


def with_rates(observer: Observer, rates: Iterable[Rate]) -> Observer:
    """The observer with fitted rates in place of its own; those of one state together stay at one half or less."""
    fitted = {(rate.character, rate.shown, rate.named): rate.after for rate in rates}
    taken_for: dict[str, list[Mistaken]] = {}
    for character, pairs in observer.mistakes.items():
        shares = {pair: fitted.get((character, *pair), share) for pair, share in pairs.items()}
        for one in {shown for shown, _ in shares}:
            lost = sum(share for (shown, _), share in shares.items() if shown == one)
            if lost > MOST_MISTAKEN:
                shares = {p: s * MOST_MISTAKEN / lost if p[0] == one else s for p, s in shares.items()}
        taken_for[character] = [Mistaken(states=[*pair], share=s, one_way=True) for pair, s in shares.items()]
    fields = {name: getattr(observer, name) for name in type(observer).model_fields}
    return Observer(**{**fields, "taken_for": taken_for})
