"""How a hint from drawings is dealt out: among species without photos only, and never more than was theirs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
NOTHING = ""  # stands in a hint for what is no weed, as a plain lawn: what fits it stays evenly spread


@runtime_checkable
class Hinted(Protocol):
    """Evidence of photos that carries a hint; model.photo makes it."""

    @property
    def hint(self) -> Mapping[str, float]:
        """ln of how well the photos fit drawings of each species, up to a constant; empty without a hint."""

    @property
    def hint_weight(self) -> float:
        """Share of the evidence of these species that the hint deals out, 0-1; the rest stays even."""


def hint_log_likelihood(photos: object, ids: Sequence[str], prior: Array) -> Array:
    """ln of what the hint multiplies the evidence of each hypothesis by, float (len(prior),).

    0 for all that the hint does not speak of. ``prior``: probability beforehand of ``ids``,
    and of unlisted behind them. The sum of the prior times the factors stays what it was, so
    that photos alone leave species with photos, and unlisted, exactly as they would be without
    a hint. No factor is below 1 - the weight.

    >>> from types import SimpleNamespace
    >>> told = SimpleNamespace(hint={"a": 0.0, "b": -50.0}, hint_weight=0.5)
    >>> np.exp(hint_log_likelihood(told, ["a", "b", "c"], np.full(4, 0.25))).round(3)
    array([1.5, 0.5, 1. , 1. ])
    """
    logs = np.zeros(len(prior))
    if not isinstance(photos, Hinted):
        return logs
    rows = [row for row, species in enumerate(ids) if species in photos.hint]
    if len(rows) < 2 or not photos.hint_weight:
        return logs
    scores = np.array([photos.hint[ids[row]] for row in rows])
    nothing = photos.hint.get(NOTHING, -np.inf)
    top = max(float(scores.max()), nothing)
    gains = np.exp(scores - top) + np.exp(nothing - top) / len(rows)
    before = prior[rows] / prior[rows].sum()
    logs[rows] = np.log(1 - photos.hint_weight + photos.hint_weight * gains / float(before @ gains))
    return logs
