"""Whether a name is proven: by how much, against which look-alikes, and not by one answer alone."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from model.flora.load import Flora
from model.flora.species import LookAlike
from model.traits import Answers, Likelihoods
from model.traits.question import SEPARATES

Array = NDArray[np.float64]
Status = Literal["confirmed", "likely", "undecided", "unlisted"]
CONFIRMED, LIKELY, LEADS = 0.95, 0.70, 0.50
KEPT = 0.80  # what a proven name keeps with any single answer taken away
RELATIVE_LIKELY = 0.14  # share of a relative outside the flora from which no name is put forward


@dataclass(frozen=True)
class Proof:
    """How well the leading species stands.

    ``sure`` its probability (0-1); ``unlisted`` that of a plant like none; ``relative`` that of one outside the flora
    that resembles it, against it; ``left`` rows of look-alikes not told from it yet, and ``outside`` those that the
    species file names though they are not in the flora; ``kept`` its least
    probability with one answer taken away, and ``hangs_on`` that answer; ``provable``: whether answers can prove it.
    """

    sure: float
    unlisted: float
    relative: float
    left: tuple[int, ...]
    outside: tuple[LookAlike, ...]
    kept: float
    hangs_on: str | None
    provable: bool

    @property
    def status(self) -> Status:
        """What may be said of the name."""
        if self.unlisted >= LEADS:
            return "unlisted"
        stands = self.sure >= CONFIRMED and self.kept >= KEPT and self.provable
        if stands and not self.left and not self.outside and self.relative <= 1 - CONFIRMED:
            return "confirmed"
        return "likely" if self.sure >= LIKELY and self.relative < RELATIVE_LIKELY else "undecided"


def unseparated(likelihoods: Likelihoods, flora: Flora, answers: Answers, lead: int) -> tuple[int, ...]:
    """Rows of the look-alikes of ``lead`` that the answers do not tell from it yet.

    Two answers tell it, or one that is no slip: an answer that people are not known to give of the look-alike. For the
    second of two, all other answers together do as well.
    """
    tables = [(likelihoods.tables[c], answer) for c, answer in answers.items() if answer != ()]
    ratios = [table.likelihood(answer) for table, answer in tables]
    left = []
    for other in flora.look_alikes[flora.ids[lead]]:
        row = flora.ids.index(other)
        # Of what nobody has described in the look-alike, an answer tells nothing.
        speaks = [table.known[row] or not table.applicable[row] for table, _ in tables]
        against = [float(ratio[lead] / ratio[row]) if speaks[i] else 1.0 for i, ratio in enumerate(ratios)]
        told = [tables[i] for i, one in enumerate(against) if one >= SEPARATES]
        rest = math.prod(against) / max(against, default=1.0)
        twice = len(told) >= 2 or (len(told) == 1 and rest >= SEPARATES)
        if not twice and not any(not table.is_slip(answer, row) for table, answer in told):
            left.append(row)
    return tuple(left)


def outside_left(likelihoods: Likelihoods, flora: Flora, answers: Answers, lead: int) -> tuple[LookAlike, ...]:
    """Look-alikes that are named by the file of ``lead`` but not in the flora, and not told from it yet.

    One is told once an answer agrees with the species on a character that the file says parts the two.
    """
    agreed = {c for c, answer in answers.items() if likelihoods.tables[c].verdict(answer, lead) == "agrees"}
    named = [entry for entry in flora.species[flora.ids[lead]].look_alikes if entry.outside is not None]
    return tuple(entry for entry in named if not agreed & set(entry.separate_by))


def least_kept(likelihoods: Likelihoods, logs: Array, answers: Answers, lead: int) -> tuple[float, str | None]:
    """The least probability of ``lead`` with one answer taken away, and which answer that is.

    ``logs`` float (species + 1,): ln of the posterior with all answers, up to a constant. 0 and None without answers.
    """
    worst: tuple[float, str | None] = (math.inf, None)
    for character, answer in answers.items():
        if answer != ():
            without = whole(logs - np.log(likelihoods.tables[character].likelihood(answer)))
            worst = min(worst, (float(without[lead]), character), key=lambda found: found[0])
    return worst if worst[1] is not None else (0.0, None)


def whole(logs: Array) -> Array:
    """Probabilities that sum to 1, from their logarithms up to a constant."""
    weights = np.exp(logs - logs.max())
    return np.asarray(weights / weights.sum())
