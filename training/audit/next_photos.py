"""Which photos to take next: the species whose next few photos lower the error most.

The balanced error is the mean over the S species of e_s, the share of the held-out photos of s
that are named otherwise. Every such photo concerns two species, the one that it shows and the
one that it was taken for, and photos of either help; so half of it is put down to each:

    u_s = (e_s + sum over t of c_ts) / 2        c_ts: share of the photos of t that are called s

and the u_s sum to the e_s. Error falls with photos as a power (the slope b). With `take` photos
more, each of another plant, the balanced error is expected to fall by

    gain_s = u_s / S * (1 - ((n_s + 1) / (n_s + 1 + take)) ** b)

where n_s counts the photos of one plant as fewer: n / (1 + (n / plants - 1) * alike).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.photo.evidence import OTHER
from model.photo.head import Discriminant, Statistics
from training.audit.out_of_sample import OutOfSample, learned
from training.audit.settings import Labels, Next
from training.data.manifest import LabelledPhoto
from training.data.split import grouped_folds

Array = NDArray[np.float64]
SHARES = (0.25, 0.5, 1.0)  # of the groups that are learned from, to see how the error falls
FOLDS = 4
STEEPEST, FLATTEST = 1.0, 0.05
MOST_HARD = 3  # photos that show what is hard about a species


@dataclass(frozen=True)
class Gain:
    """What more photos of one species are worth.

    ``gain`` is the expected fall of the balanced error, 0-1; ``error`` the share of its photos
    that are named otherwise, drawn towards the mean where there are few, None without any;
    ``confused`` the species that it is taken for or that are taken for it, most often first;
    ``hard`` names photos of it that are hardest to name: take more that look like these.
    """

    species: str
    gain: float
    error: float | None
    photos: int
    groups: int
    confused: tuple[str, ...]
    hard: tuple[str, ...]


def expect_gains(
    photos: Sequence[LabelledPhoto],
    groups: Sequence[str],
    found: OutOfSample,
    settings: Next,
    slope: float,
    background: Mapping[str, float] | None = None,
    wanted: Sequence[str] = (),
    doubted: Collection[str] = (),
) -> tuple[Gain, ...]:
    """Gains of all species, the largest first; the formula is at the head of this module.

    ``found`` has one row a photo. ``background``: photos of each class that stand behind every
    fold. ``wanted``: species that need not have a photo yet; one that the head knows nothing of
    is always named wrongly. ``doubted``: names of photos that are not shown as hard ones.
    """
    behind = background or {}
    labels = [photo.label for photo in photos]
    names = sorted({label for label in (*labels, *wanted) if not label.startswith(OTHER)})
    confusion = smoothed_confusion(found, settings.steady)
    visits_of = Counter(label for label, _ in set(zip(labels, groups, strict=True)))
    gains = []
    for name in names:
        count, visits = labels.count(name), visits_of[name]
        known = effective_photos(count, visits, settings.alike_within_group) + behind.get(name, 0.0)
        row = found.classes.index(name) if name in found.classes else -1
        error = float(confusion[row].sum()) if row >= 0 and count else None
        share = 1.0 if error is None else 0.5 * (error + float(confusion[:, row].sum()))
        gain = share / len(names) * (1 - ((known + 1) / (known + 1 + settings.take)) ** slope)
        confused = () if error is None else _confused(found.classes, confusion, row)
        gains.append(Gain(name, gain, error, count, visits, confused, _hard(photos, found, name, doubted)))
    return tuple(sorted(gains, key=lambda g: (-g.gain, g.species)))


def effective_photos(photos: int, groups: int, alike: float) -> float:
    """As how many photos of different plants these count, float.

    >>> effective_photos(10, 10, 0.5), effective_photos(10, 1, 1.0), effective_photos(0, 0, 0.5)
    (10.0, 1.0, 0.0)
    """
    return photos / (1 + (photos / groups - 1) * alike) if groups else 0.0


def smoothed_confusion(found: OutOfSample, steady: int) -> Array:
    """Share of the photos of each class that are called each other class, float (classes, classes).

    The diagonal is 0, so that rows sum to the error of the class. Few photos are drawn to the
    mean error, spread evenly over the other classes, which counts as ``steady`` photos.
    """
    size = len(found.classes)
    table = np.zeros((size, size))
    rows = np.flatnonzero(found.judged)
    if len(rows) == 0 or size < 2:
        return table
    called = found.probabilities[rows].argmax(axis=1)
    np.add.at(table, (found.given[rows], called), 1.0)
    counts = table.sum(axis=1)
    np.fill_diagonal(table, 0.0)
    mean = float((table.sum(axis=1)[counts > 0] / counts[counts > 0]).mean())
    even = steady * mean / (size - 1) * (1 - np.eye(size))
    smooth = (table + even) / (counts + steady)[:, None]
    smooth[counts == 0] = 0.0
    return np.asarray(smooth)


def _confused(classes: Sequence[str], confusion: Array, row: int) -> tuple[str, ...]:
    both = confusion[row] + confusion[:, row]
    # What smoothing alone has put there is not an observed confusion.
    least = 2 * float(np.median(np.delete(both, row))) if len(both) > 2 else 0.0
    order = [i for i in np.argsort(-both, kind="stable") if i != row and both[i] > max(least, 0.02)]
    return tuple(classes[i] for i in order[:2])


def _hard(photos: Sequence[LabelledPhoto], found: OutOfSample, name: str, doubted: Collection[str]) -> tuple[str, ...]:
    own = found.own
    rows = [i for i, p in enumerate(photos) if p.label == name and found.judged[i] and p.name not in doubted]
    wrong = [i for i in rows if found.probabilities[i].argmax() != found.given[i]]
    return tuple(photos[i].name for i in sorted(wrong, key=lambda i: own[i])[:MOST_HARD])


def learning_slope(
    x: Array,
    labels: Sequence[str],
    groups: Sequence[str],
    shrinkage: float,
    settings: Labels,
    background: Statistics | None = None,
) -> float | None:
    """How steeply the balanced error falls with photos: the b of error ~ photos ** -b.

    Heads are fitted on a quarter, a half and all of the groups outside each fold, and judged on
    the fold. None where that shows nothing: no folds, or no errors.
    """
    fold = grouped_folds(labels, groups, FOLDS, settings.seed)
    if not fold.any():
        return None
    truth, names = np.array(labels), np.array(groups)
    random = np.random.default_rng(settings.seed)
    draw = {name: random.random() for name in sorted(set(groups))}
    place = np.array([draw[name] for name in groups])
    sizes, errors = [], []
    for share in SHARES:
        right = np.zeros(len(truth), dtype=bool)
        for number in np.unique(fold):
            learn, check = (fold != number) & (place < share), fold == number
            statistics = learned(x[learn], truth[learn].tolist(), background) if learn.any() else None
            if statistics is None:
                return None
            head = Discriminant(statistics, shrinkage)
            right[check] = np.array(head.classes)[head.scores(x[check]).argmax(axis=1)] == truth[check]
        errors.append(float(np.mean([1 - right[truth == c].mean() for c in np.unique(truth)])))
        sizes.append(len(set(names[place < share])))
    if min(errors) <= 0 or len(set(sizes)) < len(sizes):
        return None
    slope = -float(np.polyfit(np.log(sizes), np.log(errors), 1)[0])
    return float(np.clip(slope, FLATTEST, STEEPEST))
