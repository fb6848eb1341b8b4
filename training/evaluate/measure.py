"""Measure a photo model on photos that it has not learned from: accuracy, calibration against its null, by source."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import rankdata

from model.photo.evidence import OTHER, Classifier
from training.data.manifest import LabelledPhoto
from training.head.conformal import LacSets, SetFigures, measure_sets, read_sets

Array = NDArray[np.float64]
BINS = 10
Z = 1.959964  # of the normal distribution: 95 % lie within
ELSE = "other"  # the last column of every model's probabilities


@dataclass(frozen=True)
class Measurement:
    """Figures of one set of photos, none of which was learned from or calibrated on.

    ``top1``, ``top3``, ``balanced_top1`` in 0-1, higher is better; ``nll`` in nats and
    ``ece`` in 0-1, lower is better; ``ece_null`` is the 95th percentile of the ECE that a
    perfectly calibrated model would show on as many photos with the same probabilities.
    """

    photos: int
    groups: int
    top1: float
    top3: float
    balanced_top1: float
    nll: float
    ece: float
    ece_null: float
    per_class: dict[str, float] = field(default_factory=dict)


def measure(
    probabilities: Array,
    truth: NDArray[np.int64],
    classes: Sequence[str],
    groups: Sequence[str],
    draws: int = 200,
    seed: int = 0,
) -> Measurement:
    """Measure probabilities, float (photos, classes), against the right columns.

    Out-of-sample probabilities only: figures on photos that were learned from mean nothing.
    """
    order = np.argsort(-probabilities, axis=1, kind="stable")
    right = order[:, 0] == truth
    own = probabilities[np.arange(len(truth)), truth]
    per_class = {classes[c]: float(right[truth == c].mean()) for c in np.unique(truth)}
    return Measurement(
        photos=len(truth),
        groups=len(set(groups)),
        top1=float(right.mean()),
        top3=float((order[:, :3] == truth[:, None]).any(axis=1).mean()),
        balanced_top1=float(np.mean(list(per_class.values()))),
        nll=float(-np.log(np.maximum(own, 1e-12)).mean()),
        ece=expected_calibration_error(probabilities.max(axis=1), right),
        ece_null=calibration_null(probabilities.max(axis=1), draws, seed),
        per_class=per_class,
    )


def expected_calibration_error(confidence: Array, right: NDArray[np.bool_]) -> float:
    """Mean distance between confidence and share right, over bins with equally many photos.

    Lower is better; never zero on few photos, even for a perfect model: see calibration_null.
    """
    order = np.argsort(confidence, kind="stable")
    parts = np.array_split(order, min(BINS, len(order)))
    return float(sum(len(p) * abs(confidence[p].mean() - right[p].mean()) for p in parts) / len(order))


def calibration_null(confidence: Array, draws: int, seed: int) -> float:
    """The ECE that perfect calibration stays under in 95 % of draws on these confidences."""
    random = np.random.default_rng(seed)
    errors = [expected_calibration_error(confidence, random.random(len(confidence)) < confidence) for _ in range(draws)]
    return float(np.percentile(errors, 95))


def wilson(right: float, of: float) -> tuple[float, float]:
    """The 95 % interval of a share (Wilson 1927); 0 to 1 when nothing was counted.

    ``of`` may be an effective number, ``right`` as large a share of it as of the photos.

    >>> [round(end, 3) for end in wilson(9, 10)]
    [0.596, 0.982]
    """
    if of == 0:
        return 0.0, 1.0
    share, spread = right / of, Z**2 / of
    middle, half = share + spread / 2, float(np.sqrt(share * (1 - share) * spread + (spread / 2) ** 2))
    return max((middle - half) / (1 + spread), 0.0), min((middle + half) / (1 + spread), 1.0)


def auroc(above: Array, below: Array) -> float:
    """Chance that one of ``above`` is larger than one of ``below``: area under the ROC curve (Mann and Whitney 1947).

    >>> auroc(np.array([3.0, 4.0]), np.array([1.0, 3.0]))
    0.875
    """
    n, ranks = len(above), rankdata(np.concatenate([above, below]))
    return float((ranks[:n].sum() - n * (n + 1) / 2) / (n * len(below)))


@dataclass(frozen=True)
class SpeciesFigures:
    """Photos of one species, or of plants outside the flora (`other`).

    ``recall``: share whose first choice is right, with its interval. Of a species that the
    model does not know (``known`` False), other is right.
    """

    species: str
    known: bool
    photos: int
    recall: float
    low: float
    high: float


@dataclass(frozen=True)
class Measured:
    """A model on labelled photos; ``columns`` names those of ``probabilities``, the last is other."""

    model: str
    columns: tuple[str, ...]
    photos: tuple[LabelledPhoto, ...]
    x: Array
    probabilities: Array
    truth: NDArray[np.int64]
    shrinkage: float
    figures: Measurement
    sets: SetFigures | None
    by_species: tuple[SpeciesFigures, ...]
    by_source: dict[str, Measurement]

    def as_json(self) -> dict[str, Any]:
        """The keys that other programs rely on. Coverage and size are null for a model without sets."""
        m = self.figures
        return {
            "photos": m.photos,
            "species": sum(s.species != ELSE for s in self.by_species),
            "top1": m.top1,
            "top3": m.top3,
            "balanced_top1": m.balanced_top1,
            "nll": m.nll,
            "ece": m.ece,
            "coverage": None if self.sets is None else self.sets.coverage,
            "mean_set_size": None if self.sets is None else self.sets.mean_size,
            "per_species": {
                s.species: {"photos": s.photos, "top1": s.recall, "low": s.low, "high": s.high, "known": s.known}
                for s in self.by_species
            },
        }


def measure_model(
    name: str, folder: Path, classifier: Classifier, photos: Sequence[LabelledPhoto], x: Array
) -> Measured:
    """Measure the model in ``folder``, read as ``classifier``, on photos with their features, float (photos, features).

    Raises ModelError when the sets of the folder are damaged.
    """
    return measure_classifier(name, classifier, photos, x, read_sets(folder))


def measure_classifier(
    name: str,
    classifier: Classifier,
    photos: Sequence[LabelledPhoto],
    x: Array,
    sets: LacSets | None,
    draws: int = 200,
    seed: int = 0,
) -> Measured:
    """The same for a model in memory. Photos of species that the model does not know count as other."""
    columns = (*classifier.species, ELSE)
    place = {species: i for i, species in enumerate(classifier.species)}
    truth = np.array([place.get(photo.label, len(place)) for photo in photos], dtype=np.int64)
    probabilities = classifier.probabilities(x)
    groups, sources = (np.array([getattr(photo, name) for photo in photos]) for name in ("group", "origin"))

    def figures(keep: NDArray[np.bool_]) -> Measurement:
        return measure(probabilities[keep], truth[keep], columns, groups[keep].tolist(), draws, seed)

    return Measured(
        model=name,
        columns=columns,
        photos=tuple(photos),
        x=x,
        probabilities=probabilities,
        truth=truth,
        shrinkage=classifier.calibration.shrinkage,
        figures=figures(np.ones(len(photos), dtype=bool)),
        sets=None if sets is None else measure_sets(sets, probabilities, truth, groups.tolist()),
        by_species=_by_species(photos, probabilities.argmax(axis=1) == truth, set(place)),
        by_source={source: figures(sources == source) for source in sorted(set(sources.tolist()))},
    )


def _by_species(
    photos: Sequence[LabelledPhoto], right: NDArray[np.bool_], known: set[str]
) -> tuple[SpeciesFigures, ...]:
    labels = np.array([ELSE if photo.label.startswith(OTHER) else photo.label for photo in photos])
    found = []
    for name in sorted(set(labels.tolist()), key=lambda label: (label == ELSE, label)):
        here = right[labels == name]
        low, high = wilson(int(here.sum()), len(here))
        found.append(SpeciesFigures(name, name in known or name == ELSE, len(here), float(here.mean()), low, high))
    return tuple(found)
