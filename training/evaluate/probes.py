"""Two questions to a set of photos: how far a random split flatters, and what the background alone tells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from sklearn.ensemble import RandomForestClassifier
from sklearn.metrics import balanced_accuracy_score
from sklearn.model_selection import StratifiedGroupKFold, StratifiedKFold

from model.photo import Discriminant, fit_statistics, open_photo
from training.data.manifest import LabelledPhoto

Array = NDArray[np.float64]
FOLDS = 4
SPOTS = 16  # px: a photo is made so small, and eight pixels of its border looked at
MOST = 1500  # photos that the background is taken of
TREES = 200


@dataclass(frozen=True)
class Gap:
    """Balanced accuracy (0-1) in folds that split by photo, and in folds that keep groups whole."""

    photos: int
    groups: int
    classes: int
    by_photo: float
    by_group: float


@dataclass(frozen=True)
class Background:
    """Balanced accuracy (0-1) from eight pixels of the border alone, beside chance."""

    photos: int
    classes: int
    accuracy: float
    chance: float

    @property
    def tells_too_much(self) -> bool:
        """Whether the background tells more than twice what chance does."""
        return self.accuracy > 2 * self.chance


def grouped_gap(x: Array, photos: Sequence[LabelledPhoto], shrinkage: float, seed: int = 0) -> Gap | None:
    """How far a split by photo flatters a head that is fitted anew on these photos.

    ``x`` float (photos, features). Only photos with a known group of classes that have enough
    groups count; None where fewer than two such classes are there.
    """
    keep = _enough_groups(photos, np.array([photo.group_known for photo in photos], dtype=bool))
    truth = np.array([photo.label for photo in photos])[keep]
    groups = np.array([photo.group for photo in photos])[keep]
    if len(set(truth)) < 2:
        return None
    found = []
    for splitter, together in ((StratifiedKFold, None), (StratifiedGroupKFold, groups)):
        said = np.empty_like(truth)
        folds = splitter(n_splits=FOLDS, shuffle=True, random_state=seed)
        for learn, check in folds.split(x[keep], truth, together):
            head = Discriminant(fit_statistics(x[keep][learn], list(truth[learn])), shrinkage)
            said[check] = np.array(head.classes)[head.scores(x[keep][check]).argmax(axis=1)]
        found.append(float(balanced_accuracy_score(truth, said)))
    return Gap(len(truth), len(set(groups)), len(set(truth)), *found)


def background_probe(photos: Sequence[LabelledPhoto], seed: int = 0) -> Background | None:
    """How well eight pixels of the border name the class, in folds that keep groups whole.

    A random forest on the colours of corners and middles of the sides (the probe of
    arXiv:2206.04374). None where fewer than two classes have enough groups.
    """
    rows = _enough_groups(photos, np.ones(len(photos), dtype=bool))
    if len(rows) > MOST:
        rows = rows[np.linspace(0, len(rows) - 1, MOST).round().astype(int)]
        rows = rows[_enough_groups([photos[row] for row in rows], np.ones(len(rows), dtype=bool))]
    truth = np.array([photos[row].label for row in rows])
    if len(set(truth)) < 2:
        return None
    x = np.stack([border(photos[row]) for row in rows])
    groups = np.array([photos[row].group for row in rows])
    said = np.empty_like(truth)
    for learn, check in StratifiedGroupKFold(n_splits=FOLDS, shuffle=True, random_state=seed).split(x, truth, groups):
        forest = RandomForestClassifier(TREES, class_weight="balanced", random_state=seed, n_jobs=1)
        said[check] = forest.fit(x[learn], truth[learn]).predict(x[check])
    classes = len(set(truth))
    return Background(len(truth), classes, float(balanced_accuracy_score(truth, said)), 1 / classes)


def border(photo: LabelledPhoto) -> Array:
    """Colours of the corners and the middles of the sides of a photo, float (24,)."""
    small = np.asarray(Image.fromarray(open_photo(photo.file).pixels).resize((SPOTS, SPOTS), Image.Resampling.BOX))
    half, last = SPOTS // 2, SPOTS - 1
    spots = [(0, 0), (0, half), (0, last), (half, 0), (half, last), (last, 0), (last, half), (last, last)]
    return np.concatenate([small[down, across] for down, across in spots]).astype(np.float64)


def _enough_groups(photos: Sequence[LabelledPhoto], usable: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Rows of usable photos whose class has at least as many groups among them as there are folds."""
    groups: dict[str, set[str]] = {}
    for photo, use in zip(photos, usable, strict=True):
        if use:
            groups.setdefault(photo.label, set()).add(photo.group)
    return np.array(
        [i for i, (p, use) in enumerate(zip(photos, usable, strict=True)) if use and len(groups[p.label]) >= FOLDS],
        dtype=np.int64,
    )
