"""Two probes of a set of photos: how far a random split flatters, and what the background alone gives away."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from sklearn.ensemble import RandomForestClassifier
from sklearn.metrics import balanced_accuracy_score
from sklearn.model_selection import StratifiedGroupKFold, StratifiedKFold, cross_val_predict

from model.photo.head import Discriminant, fit_statistics
from model.photo.sandbox import open_photo
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
    def gives_away(self) -> bool:
        """Whether the background names the class more than twice as often as chance does."""
        return self.accuracy > 2 * self.chance


def grouped_gap(x: Array, photos: Sequence[LabelledPhoto], shrinkage: float, seed: int = 0) -> Gap | None:
    """How far a split by photo flatters a head that is fitted anew on these photos.

    ``x`` float (photos, features). Only photos with a known group of classes that have enough
    groups count; None where fewer than two such classes are there.
    """
    rows = _enough_groups([i for i, photo in enumerate(photos) if photo.group_known], photos)
    x, truth, groups = x[rows], np.array([photos[i].label for i in rows]), np.array([photos[i].group for i in rows])
    if len(set(truth)) < 2:
        return None

    def accuracy(splitter: type[StratifiedKFold], groups: NDArray[np.str_] | None) -> float:
        first = np.empty_like(truth)
        for learn, check in splitter(n_splits=FOLDS, shuffle=True, random_state=seed).split(x, truth, groups):
            head = Discriminant(fit_statistics(x[learn], list(truth[learn])), shrinkage)
            first[check] = np.array(head.classes)[head.scores(x[check]).argmax(axis=1)]
        return float(balanced_accuracy_score(truth, first))

    by_photo, by_group = accuracy(StratifiedKFold, None), accuracy(StratifiedGroupKFold, groups)
    return Gap(len(truth), len(set(groups)), len(set(truth)), by_photo, by_group)


def background_probe(photos: Sequence[LabelledPhoto], seed: int = 0) -> Background | None:
    """How well eight pixels of the border name the class, in folds that keep groups whole.

    A random forest on the colours of corners and middles of the sides (the probe of
    arXiv:2206.04374). None where fewer than two classes have enough groups.
    """
    rows = _enough_groups(range(len(photos)), photos)
    if len(rows) > MOST:
        rows = _enough_groups([rows[i] for i in np.linspace(0, len(rows) - 1, MOST).round().astype(int)], photos)
    truth, groups = np.array([photos[i].label for i in rows]), np.array([photos[i].group for i in rows])
    classes = len(set(truth))
    if classes < 2:
        return None
    x = np.stack([border(photos[i]) for i in rows])
    folds = StratifiedGroupKFold(n_splits=FOLDS, shuffle=True, random_state=seed)
    forest = RandomForestClassifier(TREES, class_weight="balanced", random_state=seed, n_jobs=1)
    first = cross_val_predict(forest, x, truth, groups=groups, cv=folds)
    return Background(len(truth), classes, float(balanced_accuracy_score(truth, first)), 1 / classes)


def border(photo: LabelledPhoto) -> Array:
    """Colours of the corners and the middles of the sides of a photo, float (24,)."""
    small = np.asarray(Image.fromarray(open_photo(photo.file).pixels).resize((SPOTS, SPOTS), Image.Resampling.BOX))
    half, last = SPOTS // 2, SPOTS - 1
    spots = [(0, 0), (0, half), (0, last), (half, 0), (half, last), (last, 0), (last, half), (last, last)]
    return np.concatenate([small[down, across] for down, across in spots]).astype(np.float64)


def _enough_groups(rows: Sequence[int], photos: Sequence[LabelledPhoto]) -> list[int]:
    """Those of the rows whose class has at least as many groups among them as there are folds."""
    groups = Counter(label for label, _ in {(photos[i].label, photos[i].group) for i in rows})
    return [i for i in rows if groups[photos[i].label] >= FOLDS]
