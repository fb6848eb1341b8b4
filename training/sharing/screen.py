"""Which species of a shared file are taken: those that fit what one knows oneself. The others are named, with why."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.errors import ModelError
from model.photo.head import Background, Discriminant, Statistics
from training.sharing.sharing_rules import SharingRules

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Screen:
    """The measure that shared means are judged by: that of one's own head.

    ``own``: the statistics of the active model without anything shared, and its ``shrinkage``. ``references``: means
    to compare with, by what they are of, such as "your own photos". ``known``: ids of the species that are known.
    """

    own: Statistics
    shrinkage: float
    references: Mapping[str, Statistics]
    known: Collection[str]
    rules: SharingRules

    def left_out(self, given: Statistics) -> dict[str, str]:
        """Species that are not to be taken, each with the reason in words.

        Raises ModelError where the scatter is not one of photos of plants: then nothing can be taken.
        """
        head = Discriminant(self.own, self.shrinkage)
        turn = head.whiten(np.eye(given.means.shape[1]))
        spread = spread_of(self.own, turn)
        wider = spread_of(given, turn) / spread
        if not 1 / self.rules.widest <= wider <= self.rules.widest:
            raise ModelError(f"holds a scatter {wider:.2g} times as wide as your own; none of it is taken")
        measure = _Measure(head, Background(head), spread)
        why = {name: self._why(measure, given, row) for row, name in enumerate(given.classes)}
        return {name: reason for name, reason in why.items() if reason}

    def _why(self, measure: _Measure, given: Statistics, row: int) -> str:
        """Why a species is left out; "" where it is taken."""
        name = given.classes[row]
        if name not in self.known:
            return "is not in the flora"
        references = {what: found for what, found in self.references.items() if name in found.classes}
        for what, found in references.items():
            far = measure.apart(given, row, found, found.classes.index(name))
            if far > self.rules.most_far:
                return f"lies {far:.0f} from {what} of it; up to {self.rules.most_far:g} is taken"
        nearest, near = self._nearest_other(measure, given, row)
        if references:
            own = min(measure.apart(given, row, s, s.classes.index(name)) for s in references.values())
            return f"lies nearer to {nearest} than to {name} as you know it" if near < own else ""
        strange = measure.strange(given, row)
        if strange > self.rules.most_strange:
            return f"lies {strange:.0f} from all plants that are known; up to {self.rules.most_strange:g} is taken"
        if near < self.rules.least_apart:
            return f"looks like {nearest} itself under another name"
        return ""

    def _nearest_other(self, measure: _Measure, given: Statistics, row: int) -> tuple[str, float]:
        """The nearest class of another species, and how far it lies."""
        others = {
            name: measure.apart(given, row, self.own, other)
            for other, name in enumerate(self.own.classes)
            if name != given.classes[row]
        }
        nearest = min(others, key=lambda name: others[name])
        return nearest, others[nearest]


@dataclass(frozen=True)
class _Measure:
    """Squared distances of means, less what the uncertainty of a mean of few photos adds to them."""

    head: Discriminant
    background: Background
    spread: float

    def apart(self, one: Statistics, row: int, two: Statistics, other: int) -> float:
        apart = self.head.whiten((one.means[row] - two.means[other])[None])[0]
        return float(apart @ apart) - self.spread * float(1 / one.counts[row] + 1 / two.counts[other])

    def strange(self, one: Statistics, row: int) -> float:
        return float(self.background.distances(one.means[row : row + 1])[0] - self.spread / one.counts[row])


def spread_of(statistics: Statistics, turn: Array) -> float:
    """The variance of photos around the mean of their class, summed over features turned and stretched by ``turn``."""
    return float(((turn @ turn.T) * statistics.covariance).sum())
