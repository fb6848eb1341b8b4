"""Labels that are probably wrong: ranked for a person to look at, never changed here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from training.audit.out_of_sample import OutOfSample
from training.data.manifest import LabelledPhoto


@dataclass(frozen=True)
class Suspect:
    """A photo whose label is doubted.

    ``score`` is the out-of-sample probability of the label that it has, 0-1: the lower, the
    more doubtful. ``odds`` is how many times as likely ``likelier`` is, ``chance`` its own probability.
    """

    photo: str
    given: str
    likelier: str
    score: float
    odds: float
    chance: float = 0.0


@dataclass(frozen=True)
class LabelCheck:
    """``suspects`` with the most doubtful first.

    ``estimated`` is how many labels are wrong by the count of confident learning (Northcutt
    2021), which may be more or fewer than are suspected. ``unjudged``: labels of which at
    least one photo could not be judged, because no other plant or visit shows the species.
    """

    suspects: tuple[Suspect, ...]
    estimated: int
    judged: int
    unjudged: tuple[str, ...]


def find_suspects(photos: Sequence[LabelledPhoto], found: OutOfSample, odds: float) -> LabelCheck:
    """Photos for which another name is at least ``odds`` times as likely as their own.

    ``found`` has one row a photo. Ranked by self-confidence, the measure of label quality that
    finds most errors among the first here.
    """
    # Loading it takes two seconds, which nothing else has to wait for.
    from cleanlab.count import num_label_issues  # type: ignore[import-untyped]

    rows = np.flatnonzero(found.judged)
    unjudged = tuple(sorted({photos[int(i)].label for i in np.flatnonzero(~found.judged)}))
    if len(rows) == 0 or len(found.classes) < 2:
        return LabelCheck((), 0, len(rows), unjudged)
    given, probabilities = found.given[rows], found.probabilities[rows]
    scores = found.own[rows]  # self-confidence
    others = probabilities.copy()
    others[np.arange(len(rows)), given] = 0.0
    best = others.argmax(axis=1)
    times = others.max(axis=1) / scores
    suspects = [
        Suspect(
            photos[int(rows[i])].name,
            photos[int(rows[i])].label,
            found.classes[best[i]],
            round(float(scores[i]), 6),
            round(float(times[i]), 1),
            round(float(others[i, best[i]]), 6),
        )
        for i in np.argsort(scores, kind="stable")
        if times[i] >= odds
    ]
    # Columns of which no photo has the label cannot be counted into; only the others are passed on.
    columns, dense = np.unique(given, return_inverse=True)
    within = probabilities[:, columns] / probabilities[:, columns].sum(axis=1, keepdims=True)
    estimated = int(num_label_issues(dense, within)) if len(columns) > 1 else 0
    return LabelCheck(tuple(suspects), estimated, len(rows), unjudged)
