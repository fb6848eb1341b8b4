"""How well wrong names are found on real photos, where a tenth of the names is turned wrong.

python -m tests.claims.audit_claims ../shared/photos FEATURES.safetensors
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from training.audit import load_settings
from training.audit.labels import find_suspects
from training.audit.out_of_sample import out_of_sample
from training.features import features_of
from training.manifest import LabelledPhoto, read_manifest

Array = NDArray[np.float64]
SHARE = 0.1
SEEDS = (1, 2, 3)


def turned(photos: Sequence[LabelledPhoto], seed: int) -> tuple[list[LabelledPhoto], set[str]]:
    """The photos with a tenth of their labels exchanged for others, and the names of those."""
    random = np.random.default_rng(seed)
    labels = sorted({p.label for p in photos})
    wrong = random.choice(len(photos), round(SHARE * len(photos)), replace=False)
    found = list(photos)
    for i in wrong:
        others = [label for label in labels if label != found[i].label]
        found[i] = replace(found[i], label=str(random.choice(others)))
    return found, {photos[i].name for i in wrong}


def few(photos: Sequence[LabelledPhoto], count: int, seed: int) -> list[int]:
    """Rows of at most ``count`` photos a class."""
    order = np.random.default_rng(seed).permutation(len(photos))
    taken: dict[str, list[int]] = {}
    for row in order:
        here = taken.setdefault(photos[int(row)].label, [])
        if len(here) < count:
            here.append(int(row))
    return sorted(row for rows in taken.values() for row in rows)


def claim(name: str, photos: Sequence[LabelledPhoto], x: Array, count: int) -> None:
    """One row of the table, over the seeds."""
    settings, figures, size = load_settings().labels, [], 0
    for seed in SEEDS:
        rows = few(photos, count, seed)
        some, wrong = turned([photos[row] for row in rows], seed)
        judged = out_of_sample(x[rows], [p.label for p in some], [p.group for p in some], settings)
        names = [s.photo for s in find_suspects(some, judged, settings.odds).suspects]
        right = len(wrong & set(names))
        figures.append((right / len(wrong), right / max(len(names), 1), len(wrong & set(names[:20]))))
        size = len(rows)
    recall, precision, first = np.mean(figures, axis=0)
    print(f"| {name} | {size} | {recall:.2f} | {precision:.2f} | {first:.1f} |", flush=True)


def main(arguments: list[str]) -> int:
    """PHOTOS FEATURES: print the table."""
    if len(arguments) != 2:
        sys.stderr.write("usage: python -m tests.claims.audit_claims PHOTOS FEATURES.safetensors\n")
        return 2
    photos = read_manifest(Path(arguments[0]))
    x, _ = features_of(photos, Path(arguments[1]))
    field = [i for i, p in enumerate(photos) if p.source != "seedlings"]
    print("| photos | number | recall | precision | right among the first 20 |\n|---|---|---|---|---|")
    claim("field photos, 4 classes", [photos[i] for i in field], x[field], 10**6)
    claim("field photos, 35 a class", [photos[i] for i in field], x[field], 35)
    claim("all, 16 classes, 35 a class", photos, x, 35)
    claim("all, 16 classes, 150 a class", photos, x, 150)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
