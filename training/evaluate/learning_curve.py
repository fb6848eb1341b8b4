"""The learning curve of one's own photos: how the share named right grows with the number of them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.photo.head import Discriminant, fit_statistics
from training.data.dataset import Data
from training.head.fit import Learned
from training.head.scatter import join

Array = NDArray[np.float64]
SHARES = (0.125, 0.25, 0.5, 1.0)
DRAWS = 4  # of the groups that are learned from, for each share but the whole


@dataclass(frozen=True)
class Point:
    """``photos`` of one's own learned from; ``right``: share of held-out photos named right, mean over draws.

    ``low`` and ``high``: the worst and the best draw.
    """

    photos: int
    right: float
    low: float
    high: float


def learning_curve(data: Data, learned: Learned, seed: int = 0) -> tuple[Point, ...]:
    """Learn from some of the groups of each class, and try on the held-out photos, which are always the same.

    Nothing where no photo is held out.
    """
    own, held = data.part("fit", "calibrate", "conformal"), data.part("held_out")
    if not own.photos or not held.photos:
        return ()
    found = []
    for share in SHARES:
        draws = DRAWS if share < 1 else 1
        rows = [_some(own, share, np.random.default_rng([seed, draw])) for draw in range(draws)]
        right = [_right(own.where(keep), held, learned) for keep in rows]
        photos = round(float(np.mean([keep.sum() for keep in rows])))
        found.append(Point(photos, float(np.mean(right)), min(right), max(right)))
    # Where there are few photos, several shares come to the same ones.
    return tuple(point for i, point in enumerate(found) if not i or point.photos > found[i - 1].photos)


def _some(own: Data, share: float, random: np.random.Generator) -> NDArray[np.bool_]:
    """Rows of a share of the groups of each class, one at least."""
    kept: set[tuple[str, str]] = set()
    for label in sorted(set(own.labels)):
        groups = sorted({p.group for p in own.photos if p.label == label})
        taken = random.permutation(len(groups))[: max(1, math.ceil(share * len(groups)))]
        kept |= {(label, groups[i]) for i in taken}
    return np.array([(p.label, p.group) in kept for p in own.photos])


def _right(own: Data, held: Data, learned: Learned) -> float:
    statistics = join(learned.base, fit_statistics(own.x, own.labels), learned.weight)
    head = Discriminant(statistics, learned.classifier.calibration.shrinkage)
    first = np.array(head.classes)[head.scores(held.x).argmax(axis=1)]
    return float(np.mean(first == np.array(held.labels)))
