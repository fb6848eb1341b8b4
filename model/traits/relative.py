"""A plant outside the flora that resembles a listed one: how probable it is, and what would tell the two apart.

The hypothesis `unlisted` is a plant like none of the flora. Many plants that are not listed are like one that is: the
garden daisy like the lawn daisy. Of such a relative each character is, with probability ``alike``, as the listed
species has it, and else as plants have it at large. Few answers fit both; many that all fit speak for the listed one.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from model.traits.answers import Answers
from model.traits.likelihood import Likelihoods

Array = NDArray[np.float64]
LEAST_TELLING = 0.02  # a question that is expected to bring less against a relative is not worth asking


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

    ``lead`` is a row of the likelihoods; ``share`` its probability before any answer, ``alike`` how much the two share,
    ``photo`` P(photos | something else) / P(photos | lead), of which only support for the lead is heeded: that the
    photos speak for another plant is weighed in the posterior. They count for as many answers as ``looks``.
    """
    odds = share / (1 - share) * min(1.0, alike + (1 - alike) * photo) ** looks
    for character, answer in answers.items():
        table = likelihoods.tables[character]
        if table.applicable[lead] and not table.known[lead]:
            continue  # what nobody has described of the lead tells it from nothing
        rows = table.likelihood(answer)
        odds *= alike + (1 - alike) * float(rows[-1] / rows[lead])
    return odds / (1 + odds) if math.isfinite(odds) else 1.0


def telling(likelihoods: Likelihoods, lead: int, alike: float) -> Array:
    """By how much each answer should speak against a relative, if ``lead`` is right: nats, float (characters,).

    Zero where the file does not say what the plant shows.
    """
    gains = np.zeros(len(likelihoods.tables))
    for i, table in enumerate(likelihoods.tables.values()):
        if table.known[lead] and table.applicable[lead]:
            gains[i] = _gain(table.rows[lead], table.rows[-1], alike)
    return gains


def _gain(own: Array, background: Array, alike: float) -> float:
    return float(-(own * np.log(alike + (1 - alike) * background / own)).sum())
