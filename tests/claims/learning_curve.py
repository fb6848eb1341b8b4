"""How many photos a species needs: the quick head at 1 to 35 photos a species, on the open photos.

    python -m tests.claims.learning_curve ../shared/photos FEATURES.safetensors

prints two tables: the learning curve, and what five new species cost those that are known.
Groups (photographers, days) are never in both learning and test; seedlings have none, and
say how well the same pots are known again rather than new plants.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from model.photo import Discriminant, Statistics, fit_statistics
from training.features import features_of
from training.manifest import LabelledPhoto, read_manifest
from training.spread import join

Array = NDArray[np.float64]
SHOTS = (1, 3, 5, 10, 20, 35)
SEEDS = 5
SHRINKAGE = 0.2
MOST_TESTED = 100  # photos a class
NEW = 5
WEIGHT = 0.1  # the lightest that the quick recipe lets the starter's spread count


def draw(photos: Sequence[LabelledPhoto], shots: int, seed: int) -> tuple[list[int], list[int]]:
    """Rows to learn from, ``shots`` a class, and rows to test on, of other groups."""
    random = np.random.default_rng(seed)
    learn, test = [], []
    for label in sorted({p.label for p in photos}):
        groups: dict[str, list[int]] = {}
        for row, photo in enumerate(photos):
            if photo.label == label:
                groups.setdefault(photo.group, []).append(row)
        names = sorted(groups)
        random.shuffle(names)
        taken: list[int] = []
        while names and len(taken) < shots:
            taken += groups[names.pop()][: shots - len(taken)]
        rest = [row for name in names for row in groups[name]]
        random.shuffle(rest)
        learn, test = learn + taken, test + rest[:MOST_TESTED]
    return learn, test


def right(statistics: Statistics, x: Array, labels: NDArray[np.str_], top: int = 1) -> float:
    """Balanced share of photos whose class is among the ``top`` first."""
    head = Discriminant(statistics, SHRINKAGE)
    first = np.array(head.classes)[np.argsort(-head.scores(x), axis=1)[:, :top]]
    hit = (first == labels[:, None]).any(axis=1)
    return float(np.mean([hit[labels == label].mean() for label in sorted(set(labels))]))


def learning_curve(photos: Sequence[LabelledPhoto], x: Array) -> None:
    """The first table."""
    labels = np.array([p.label for p in photos])
    kinds = {
        "field photos, 4 classes, grouped": np.array([p.source != "seedlings" for p in photos]),
        "seedlings, 12 classes, not grouped": np.array([p.source == "seedlings" for p in photos]),
        "all, 16 classes": np.ones(len(photos), dtype=bool),
    }
    print("| photos a class | " + " | ".join(str(k) for k in SHOTS) + " |\n|---|" + "---|" * len(SHOTS))
    for name, here in kinds.items():
        rows = np.flatnonzero(here)
        some = [photos[row] for row in rows]
        for top in (1, 3):
            cells = []
            for shots in SHOTS:
                found = []
                for seed in range(SEEDS):
                    learn, test = (rows[part] for part in draw(some, shots, seed))
                    found.append(right(fit_statistics(x[learn], list(labels[learn])), x[test], labels[test], top))
                cells.append(f"{np.mean(found):.1%} ± {np.std(found):.1%}")
            print(f"| {name}, {'first' if top == 1 else 'within three'} | {' | '.join(cells)} |", flush=True)


def cost_of_new_species(photos: Sequence[LabelledPhoto], x: Array) -> None:
    """The second table: five species with ten photos each join those that are known."""
    labels = np.array([p.label for p in photos])
    names = sorted(set(labels))
    before, after, new = [], [], []
    for seed in range(SEEDS):
        random = np.random.default_rng(seed)
        added = sorted(random.choice(names, NEW, replace=False))
        old = [p for p in photos if p.label not in added]
        old_rows = np.flatnonzero(~np.isin(labels, added))
        learn, test = (old_rows[part] for part in draw(old, 120, seed))
        new_rows = np.flatnonzero(np.isin(labels, added))
        few, more = (new_rows[part] for part in draw([photos[r] for r in new_rows], 10, seed))
        base = fit_statistics(x[learn], list(labels[learn]))
        joined = join(base, fit_statistics(x[few], list(labels[few])), WEIGHT)
        before.append(right(base, x[test], labels[test]))
        after.append(right(joined, x[test], labels[test]))
        new.append(right(joined, x[more], labels[more]))
    print("| old species before | after | new species (10 photos each) |\n|---|---|---|")
    print(f"| {np.mean(before):.1%} | {np.mean(after):.1%} | {np.mean(new):.1%} |")


def main(arguments: list[str]) -> int:
    """PHOTOS FEATURES: print both tables."""
    if len(arguments) != 2:
        sys.stderr.write("usage: python -m tests.claims.learning_curve PHOTOS FEATURES.safetensors\n")
        return 2
    photos = read_manifest(Path(arguments[0]))
    x, _ = features_of(photos, Path(arguments[1]))
    start = time.perf_counter()
    learning_curve(photos, x)
    print()
    cost_of_new_species(photos, x)
    sys.stderr.write(f"{time.perf_counter() - start:.0f} s\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
