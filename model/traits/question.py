"""Which question to ask next: most information about the species for the time it costs."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.flora.character import Character
from model.traits.answers import Answers
from model.traits.likelihood import Likelihoods
from model.traits.relative import LEAST_EVIDENCE

Array = NDArray[np.float64]
LEAST_BITS = 0.03  # below this the answer is as good as known
LEAST_APPLICABLE = 0.8  # share of the probable plants that must have the part asked about
SEPARATES = 4.0  # likelihood ratio from which an answer separates two look-alikes
UNSURE_TOGETHER = 2  # latest answers that, all unsure, suggest that the plant lacks what is asked about
SETTLED = 0.95  # probability at which a name needs no more questions except on look-alikes


@dataclass(frozen=True)
class Question:
    """The next question, and the information about the species expected from its answer, in bits."""

    character: Character
    bits: float


def expected_bits(likelihoods: Likelihoods, probability: Array) -> Array:
    """Expected information gain of each question, in bits.

    ``probability`` float (species + 1,), sums to 1. Returns float (characters,) in the flora's order: mutual
    information between hypothesis and answer. ``unsure``, the only answer for an absent part, brings nothing.
    """
    surprise = probability * np.log2(np.where(probability > 0, probability, 1.0))
    answer = _summed(probability, likelihoods.stacked)
    # sum over hypotheses of P(h, a) log P(h | a), per answer a, by products with tables that are made once
    inside = _summed(surprise, likelihoods.stacked) + _summed(probability, likelihoods.stacked_logs)
    inside -= answer * np.log2(answer)
    gain = inside - answer * surprise.sum()
    return np.asarray(np.add.reduceat(gain, likelihoods.starts))


def _summed(weights: Array, table: Array) -> Array:
    """The weighted sum of a table's rows; the product is too small to be worth starting other threads."""
    return np.asarray(np.einsum("s,sa->a", weights, table))


def settling_chance(likelihoods: Likelihoods, probability: Array) -> Array:
    """Probability that the answer to each question raises a species to SETTLED, float (characters,)."""
    answer = _summed(probability, likelihoods.stacked)
    # No answer can raise a less probable species that far.
    least = SETTLED * float((answer / likelihoods.highest).min())
    rows = np.flatnonzero(probability >= least)
    most = (probability[rows, None] * likelihoods.stacked[rows]).max(axis=0, initial=0.0)
    return np.asarray(np.add.reduceat(answer * (most >= SETTLED * answer), likelihoods.starts))


def next_question(
    likelihoods: Likelihoods,
    probability: Array,
    answers: Answers,
    unseparated: Collection[int] = (),
    evidence: Array | None = None,
    barred: Collection[str] = (),
    settled: bool = False,
) -> Question | None:
    """Choose the question whose answer is worth most for the time that it costs.

    Worth is the expected information gain plus what is saved if the answer settles the name, times the chance that the
    person can answer at all; time is that of reading the question and of its effort. Characters already asked, even
    if unsure, are left out, and so are the ``barred`` ones. After two answers of unsure about parts that not every
    plant has, only parts that every plant has are asked about: an earlier answer may have been wrong.
    ``unseparated`` are rows of look-alikes of a settled species that no answer separates from it yet: the question
    most likely to do so comes first. After them the one with most ``evidence``, float (characters,), expected against
    an unlisted relative. ``settled``: only such questions are asked.
    Returns None when no question is worth its time.
    """
    characters = list(likelihoods.flora.characters.values())
    bits = expected_bits(likelihoods, probability)
    listed = probability[:-1] / max(probability[:-1].sum(), 1e-300)
    allowed = (listed @ likelihoods.applicable >= LEAST_APPLICABLE) & np.array(
        [c.id not in answers and c.id not in barred for c in characters]
    )
    ease = likelihoods.answerable_after([c for c, answer in answers.items() if answer == ()]) / likelihoods.times
    if _may_lack_parts(likelihoods, answers):
        allowed &= np.array([not c.applies_when for c in characters])
    if unseparated:
        chance = separation_chance(likelihoods, int(probability[:-1].argmax()), unseparated)
        best = int(np.where(allowed, chance * ease, -1.0).argmax())
        if allowed[best] and chance[best] > 0.2:
            return Question(characters[best], float(max(bits[best], 0.0)))
    if evidence is not None:
        best = int(np.where(allowed, evidence * ease, -1.0).argmax())
        if allowed[best] and evidence[best] >= LEAST_EVIDENCE:
            return Question(characters[best], float(max(bits[best], 0.0)))
    if settled:
        return None
    worth = bits + likelihoods.observer.settling * settling_chance(likelihoods, probability)
    worth = np.where(allowed & (bits >= LEAST_BITS), worth * ease, -1.0)
    best = int(worth.argmax())
    return Question(characters[best], float(bits[best])) if worth[best] > 0 else None


def _may_lack_parts(likelihoods: Likelihoods, answers: Answers) -> bool:
    latest = list(answers.items())[-UNSURE_TOGETHER:]
    gated = [answer == () and bool(likelihoods.flora.characters[c].applies_when) for c, answer in latest]
    return len(gated) == UNSURE_TOGETHER and all(gated)


def separation_chance(likelihoods: Likelihoods, lead: int, others: Collection[int]) -> Array:
    """Expected number of ``others`` that each question would separate from ``lead``, if lead is right.

    Returns float (characters,).
    """
    own = likelihoods.stacked[lead]
    total = np.zeros(own.shape)
    for other in others:
        total += own * (own >= SEPARATES * likelihoods.stacked[other])
    return np.asarray(np.add.reduceat(total, likelihoods.starts))
