"""A relative outside the flora that resembles a listed species: how probable it is, and what is evidence against it.

The hypothesis `unlisted` is a plant unlike any in the flora. Many unlisted plants resemble a listed one: the garden
daisy the lawn daisy. Each character of such a relative is, with probability ``alike``, that of the listed species, and
otherwise that of plants in general. The more answers fit the listed species, the less probable the relative.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from model.traits.answers import Answers
from model.traits.likelihood import Likelihoods

Array = NDArray[np.float64]
LEAST_EVIDENCE = 0.02  # nats against a relative: a question expected to bring less is not worth asking


def relative_probability(
    likelihoods: Likelihoods,
    answers: Answers,
    lead: int,
    share: float,
    alike: float,
    photo: float = 1.0,
    looks: int = 1,
) -> float:
    """P(an unlisted relative of ``lead`` | answers, one of the two), 0-1; not against other listed species.

    ``lead`` is a row of the likelihoods; ``share`` the prior probability of a relative, ``alike`` how much the two
    share, ``photo`` P(photos | another plant) / P(photos | lead), used only where it supports the lead: evidence for
    another plant is part of the posterior. Photos count for as many answers as ``looks``.
    """
    odds = share / (1 - share) * min(1.0, alike + (1 - alike) * photo) ** looks
    for character, answer in answers.items():
        table = likelihoods.tables[character]
        if table.applicable[lead] and not table.known[lead]:
            continue  # a character that its file does not score is no evidence
        rows = table.likelihood(answer)
        odds *= alike + (1 - alike) * float(rows[-1] / rows[lead])
    return odds / (1 + odds) if math.isfinite(odds) else 1.0


def expected_evidence(likelihoods: Likelihoods, lead: int, alike: float) -> Array:
    """Expected evidence of each answer against a relative, if ``lead`` is right: nats, float (characters,).

    Zero where the file does not score the character.
    """
    gains = np.zeros(len(likelihoods.tables))
    for i, table in enumerate(likelihoods.tables.values()):
        if table.known[lead] and table.applicable[lead]:
            own, background = table.rows[lead], table.rows[-1]
            gains[i] = -(own * np.log(alike + (1 - alike) * background / own)).sum()
    return gains
