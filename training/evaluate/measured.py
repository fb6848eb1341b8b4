"""A model measured on a folder of photos: all figures, by species and by source."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.photo import Classifier
from model.photo.evidence import OTHER
from training.data.manifest import LabelledPhoto
from training.evaluate.intervals import wilson
from training.evaluate.measure import Measurement, measure
from training.head.conformal import SetFigures, measure_sets, read_sets

Array = NDArray[np.float64]
ELSE = "other"


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
    """What was found; ``columns`` names those of ``probabilities``, the last is other."""

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
    name: str, folder: Path, classifier: Classifier, photos: Sequence[LabelledPhoto], x: Array, draws: int = 200
) -> Measured:
    """Measure the model in ``folder``, read as ``classifier``, on photos with their features, float (photos, features).

    Photos of species that the model does not know count as other. Raises ModelError when the
    sets of the folder are damaged.
    """
    columns = (*classifier.species, ELSE)
    place = {species: i for i, species in enumerate(classifier.species)}
    truth = np.array([place.get(photo.label, len(place)) for photo in photos], dtype=np.int64)
    probabilities = classifier.probabilities(x)
    groups = [photo.group for photo in photos]
    sets = read_sets(folder)

    def figures(keep: NDArray[np.bool_]) -> Measurement:
        kept = [group for group, k in zip(groups, keep, strict=True) if k]
        return measure(probabilities[keep], truth[keep], columns, kept, draws)

    sources = sorted({photo.source for photo in photos})
    return Measured(
        model=name,
        columns=columns,
        photos=tuple(photos),
        x=x,
        probabilities=probabilities,
        truth=truth,
        shrinkage=classifier.calibration.shrinkage,
        figures=figures(np.ones(len(photos), dtype=bool)),
        sets=None if sets is None else measure_sets(sets, probabilities, truth, groups),
        by_species=_by_species(photos, probabilities.argmax(axis=1) == truth, set(place)),
        by_source={source: figures(np.array([photo.source == source for photo in photos])) for source in sources},
    )


def _by_species(
    photos: Sequence[LabelledPhoto], right: NDArray[np.bool_], known: set[str]
) -> tuple[SpeciesFigures, ...]:
    labels = np.array([ELSE if photo.label.startswith(OTHER) else photo.label for photo in photos])
    found = []
    for name in sorted(set(labels), key=lambda label: (label == ELSE, label)):
        here = right[labels == name]
        low, high = wilson(float(here.sum()), len(here))
        found.append(SpeciesFigures(name, name in known or name == ELSE, len(here), float(here.mean()), low, high))
    return tuple(found)
