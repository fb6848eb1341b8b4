"""What is learned of plants from a source that the starter has not seen: the quick recipe beside the bare head.

    python -m tests.claims.sources PHOTOS [FEATURES.safetensors]

The field sources (flowers by photographer, clover by lawn) are learned from a starter that knows the seedlings alone,
and the seedlings from one that knows the field alone: 1, 5, 10 and 35 photos a class, judged on photos of groups that
nobody learned from, classes alike, five draws. The bare head is the closed-form head of the photos to learn and nothing
else, at a fixed shrinkage. The quick recipe learns the same photos, and is judged as it chooses among the classes to
learn, among the starter's too, and as it names, with `other` among the answers. Two cores take half an hour, and half
an hour more for the features the first time.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from model.photo.evidence import OTHER, Calibration, Classifier
from model.photo.head import Discriminant, Statistics, fit_statistics
from tests.claims.sharing import data_of, dealt
from training.data.dataset import Data
from training.data.manifest import read_manifest
from training.data.split import every_class_in_fit, split
from training.head.fit import learn
from training.recipes.make_starter import NOTHING_FITTED
from training.recipes.recipe import Recipe, load_recipe

Array = NDArray[np.float64]
SOURCES = {"field": ("flickr_flowers", "clover_lawn"), "seedlings": ("seedlings",)}
SHOTS, DRAWS = (1, 5, 10, 35), 5
SHRINKAGES = (0.2, 0.4, 0.6)  # of the bare head


@dataclass(frozen=True)
class Starter:
    """What a starter of other sources has learned, with the photos of these that it has not."""

    statistics: Statistics
    calibration: Calibration
    held_out: Data


def read(folder: Path, cache: Path | None) -> dict[str, Data]:
    """The photos of each of SOURCES; parts are not dealt yet."""
    photos = read_manifest(folder)
    return {
        source: data_of([photo for photo in photos if photo.source in names], cache)
        for source, names in SOURCES.items()
    }


def starter_of(data: Data, recipe: Recipe) -> Starter:
    """A starter as the shipped one is made, but that novelty is fitted on all photos, for groups may be unknown."""
    data = in_parts(data, recipe)
    learned = learn(data, Statistics.empty(data.x.shape[1]), NOTHING_FITTED, recipe)
    return Starter(learned.classifier.statistics, learned.classifier.calibration, data.part("held_out"))


def in_parts(data: Data, recipe: Recipe) -> Data:
    """The same photos in the four parts of a recipe, each class in the fit part."""
    parts = every_class_in_fit(data.photos, split(data.photos, recipe.shares, recipe.seed))
    return replace(data, parts=np.array(parts))


def as_species(data: Data) -> Data:
    """The same photos, all labels being species: a class to learn is never one of `other`."""
    return replace(data, photos=tuple(replace(p, label=p.label.removeprefix(OTHER)) for p in data.photos))


def right(scores: Array, classes: Sequence[str], test: Data) -> float:
    """Share of photos whose highest score is that of their own class; classes alike."""
    truth = np.array(test.labels)
    hit = np.array(classes)[scores.argmax(axis=1)] == truth
    return float(np.mean([hit[truth == label].mean() for label in sorted(set(test.labels))]))


def scores_of(statistics: Statistics, shrinkage: float, test: Data, among: set[str]) -> tuple[Array, list[str]]:
    """Scores of the head and the classes they are of: those of ``among``."""
    weights, offsets = Discriminant(statistics, shrinkage).linear()
    rows = [row for row, name in enumerate(statistics.classes) if name in among]
    return test.x @ weights[rows].T + offsets[rows], [statistics.classes[row] for row in rows]


def bare(fit: Data, test: Data) -> dict[str, float]:
    """Named right by the closed-form head of these photos alone, at each of SHRINKAGES."""
    own = fit_statistics(fit.x, fit.labels)
    return {f"bare head, shrinkage {s}": right(*scores_of(own, s, test, set(fit.labels)), test) for s in SHRINKAGES}


def quick(fit: Data, starter: Starter, recipe: Recipe) -> Classifier:
    """The model that the quick recipe makes of all of these photos."""
    data = in_parts(fit, recipe)
    return learn(data, starter.statistics, starter.calibration, recipe).grown(data)


def quick_named(made: Classifier, fit: Data, test: Data) -> dict[str, float]:
    """Named right by the quick recipe's model: among its own classes, among all, and with `other`."""
    statistics, shrinkage = made.statistics, made.calibration.shrinkage
    return {
        "quick, among the classes to learn": right(*scores_of(statistics, shrinkage, test, set(fit.labels)), test),
        "quick, among the starter's too": right(*scores_of(statistics, shrinkage, test, set(statistics.classes)), test),
        "quick, with other": right(made.probabilities(test.x), (*made.species, OTHER), test),
    }


def measured(data: Data, starter: Starter, recipe: Recipe, shots: int, draws: int = DRAWS) -> dict[str, list[float]]:
    """Each way's share named right, draw by draw."""
    found: dict[str, list[float]] = {}
    for seed in range(draws):
        fit, test = dealt(as_species(data), shots, seed)
        for way, share in (bare(fit, test) | quick_named(quick(fit, starter, recipe), fit, test)).items():
            found.setdefault(way, []).append(share)
    return found


def table(data: Data, starter: Starter, recipe: Recipe) -> str:
    """Mean over draws and its standard deviation, in per cent, by photos a class."""
    columns = [measured(data, starter, recipe, shots) for shots in SHOTS]
    lines = ["| photos a class | " + " | ".join(map(str, SHOTS)) + " |", "|---|" + "---|" * len(SHOTS)]
    for way in columns[0]:
        cells = [f"{100 * np.mean(column[way]):.1f} ± {100 * np.std(column[way]):.1f}" for column in columns]
        lines.append(f"| {way} | " + " | ".join(cells) + " |")
    return "\n".join(lines)


def main(arguments: list[str]) -> int:
    """PHOTOS [FEATURES]: print a table for each source."""
    if len(arguments) not in (1, 2):
        sys.stderr.write("usage: python -m tests.claims.sources PHOTOS [FEATURES.safetensors]\n")
        return 2
    recipe = load_recipe("quick")
    found = read(Path(arguments[0]), Path(arguments[1]) if len(arguments) == 2 else None)
    for source, other in (("field", "seedlings"), ("seedlings", "field")):
        print(f"\n{source}, from a starter of the {other}\n")
        print(table(found[source], starter_of(found[other], recipe), recipe), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
