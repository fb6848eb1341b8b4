"""Whether a name is proven: how probable it is, against which look-alikes, and not by one answer alone."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.finding import CONFIRMED, LEADS, LIKELY, Status
from model.flora.load import Flora
from model.flora.species import LookAlike
from model.traits import Answers, Likelihoods
from model.traits.question import SEPARATES

Array = NDArray[np.float64]
KEPT = 0.80  # probability that a proven name keeps with any one answer left out
RELATIVE_LIKELY = 0.14  # with a relative outside the flora this probable, nothing is named


@dataclass(frozen=True)
class Proof:
    """How well the leading species is proven.

    ``sure`` its probability (0-1); ``unlisted`` that of a plant unlike any listed; ``relative`` that of a similar one
    outside the flora, against it; ``left`` rows of look-alikes not distinguished from it yet, and ``outside`` those
    that the species file names though they are not in the flora; ``kept`` its least probability with one answer left
    out, and ``hangs_on`` that answer; ``provable``: whether answers can prove it.
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
        """What may be claimed."""
        if self.unlisted >= LEADS:
            return "unlisted"
        stands = self.sure >= CONFIRMED and self.kept >= KEPT and self.provable
        if stands and not self.left and not self.outside and self.relative <= 1 - CONFIRMED:
            return "confirmed"
        return "likely" if self.sure >= LIKELY and self.relative < RELATIVE_LIKELY else "undecided"


def unseparated(likelihoods: Likelihoods, flora: Flora, answers: Answers, lead: int) -> tuple[int, ...]:
    """Rows of the look-alikes of ``lead`` that the answers do not distinguish from it yet.

    Two answers distinguish it, or one that is not a known slip for the look-alike. All other answers together may
    stand for the second of the two.
    """
    tables = [(likelihoods.tables[c], answer) for c, answer in answers.items() if answer != ()]
    ratios = [table.likelihood(answer) for table, answer in tables]
    left = []
    for other in flora.look_alikes[flora.ids[lead]]:
        row = flora.ids.index(other)
        # Where the file does not describe the look-alike, an answer is no evidence.
        scored = [table.known[row] or not table.applicable[row] for table, _ in tables]
        against = [float(ratio[lead] / ratio[row]) if scored[i] else 1.0 for i, ratio in enumerate(ratios)]
        separating = [tables[i] for i, one in enumerate(against) if one >= SEPARATES]
        rest = math.prod(against) / max(against, default=1.0)
        twice = len(separating) >= 2 or (len(separating) == 1 and rest >= SEPARATES)
        if not twice and all(table.is_slip(answer, row) for table, answer in separating):
            left.append(row)
    return tuple(left)


def outside_left(likelihoods: Likelihoods, flora: Flora, answers: Answers, lead: int) -> tuple[LookAlike, ...]:
    """Look-alikes outside the flora that the file of ``lead`` names, and that are not distinguished from it yet.

    One answer that agrees with the species on a character of ``separate_by`` distinguishes it.
    """
    agreed = {c for c, answer in answers.items() if likelihoods.tables[c].verdict(answer, lead) == "agrees"}
    named = [entry for entry in flora.species[flora.ids[lead]].look_alikes if entry.outside is not None]
    return tuple(entry for entry in named if not agreed & set(entry.separate_by))


def least_kept(likelihoods: Likelihoods, logs: Array, answers: Answers, lead: int) -> tuple[float, str | None]:
    """The least probability of ``lead`` with one answer left out, and which answer that is.

    ``logs`` float (species + 1,): ln of the posterior with all answers, up to a constant. 0 and None without answers.
    """
    worst: tuple[float, str | None] = (math.inf, None)
    for character, answer in answers.items():
        if answer != ():
            without = normalised(logs - np.log(likelihoods.tables[character].likelihood(answer)))
            worst = min(worst, (float(without[lead]), character), key=lambda found: found[0])
    return worst if worst[1] is not None else (0.0, None)


def normalised(logs: Array) -> Array:
    """Probabilities that sum to 1, from their logarithms up to a constant."""
    weights = np.exp(logs - logs.max())
    return np.asarray(weights / weights.sum())
