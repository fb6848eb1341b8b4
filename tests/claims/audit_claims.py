"""What the check of labelled photos promises, measured on real photos.

``python -m tests.claims.audit_claims ../shared/photos FEATURES.safetensors`` prints the tables:
wrong labels when a tenth of the labels is turned wrong, copies that are planted, and whether
following the advice on what to take or label next beats chance. FEATURES is the cache that
``training.recipes.make_starter`` keeps; photos that are not in it are computed.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageEnhance

from model.photo.evidence import OTHER
from model.photo.head import Discriminant, fit_statistics
from training.audit import load_settings
from training.audit.label_next import rank_unlabelled
from training.audit.labels import find_suspects
from training.audit.next_photos import expect_gains
from training.audit.out_of_sample import out_of_sample
from training.data.duplicates import find_duplicates
from training.data.features import features_of
from training.data.look import look_at
from training.data.manifest import LabelledPhoto, read_manifest
from training.data.split import split

Array = NDArray[np.float64]
Rows = NDArray[np.int64]
SHARE = 0.1
SEEDS = (1, 2, 3, 4, 5)
SETTINGS = load_settings()
COPIES = 50


def turned(photos: Sequence[LabelledPhoto], seed: int, share: float = SHARE) -> tuple[list[LabelledPhoto], set[str]]:
    """The photos with a share of their labels exchanged for others of theirs, and the names of those."""
    random = np.random.default_rng(seed)
    labels = sorted({p.label for p in photos})
    found = list(photos)
    wrong = random.choice(len(photos), round(share * len(photos)), replace=False)
    for i in wrong:
        others = [label for label in labels if label != found[i].label]
        found[i] = replace(found[i], label=str(random.choice(others)))
    return found, {photos[i].name for i in wrong}


def few(photos: Sequence[LabelledPhoto], rows: Rows, count: int, seed: int) -> Rows:
    """At most ``count`` rows a label."""
    random = np.random.default_rng(seed)
    labels = np.array([photos[i].label for i in rows])
    return np.concatenate([random.permutation(rows[labels == c])[:count] for c in np.unique(labels)])


def figures(photos: Sequence[LabelledPhoto], x: Array, seed: int) -> tuple[float, float, float, int]:
    """Recall, precision, how many of the 20 most doubtful are wrong, and how many were turned wrong."""
    some, wrong = turned(photos, seed)
    judged = out_of_sample(x, [p.label for p in some], [p.group for p in some], SETTINGS.labels)
    names = [s.photo for s in find_suspects(some, judged, SETTINGS.labels.odds).suspects]
    ranked = [some[i].name for i in np.argsort(judged.own, kind="stable")]
    right = len(wrong & set(names))
    return right / len(wrong), right / max(len(names), 1), len(wrong & set(ranked[:20])), len(wrong)


def label_row(name: str, found: list[tuple[float, float, float, int]], size: int) -> None:
    """One row of the table, the mean over draws."""
    recall, precision, first, wrong = np.mean(found, axis=0)
    print(f"| {name} | {size} | {wrong:.0f} | {recall:.2f} | {precision:.2f} | {first:.1f} |", flush=True)


def label_table(photos: Sequence[LabelledPhoto], x: Array) -> None:
    """Wrong labels among many photos."""
    print(
        "| photos | number | turned wrong | recall | precision | right among the first 20 |\n|---|---|---|---|---|---|"
    )
    species = np.flatnonzero([not p.label.startswith(OTHER) for p in photos])
    field = np.flatnonzero([p.source != "seedlings" for p in photos])
    for name, rows in (
        ("11 species", species),
        ("field photos, 4 classes", field),
        ("all, 16 classes", np.arange(len(x))),
    ):
        here = [photos[i] for i in rows]
        label_row(name, [figures(here, x[rows], seed) for seed in SEEDS], len(rows))


def cut(image: Image.Image, share: float, random: np.random.Generator) -> Image.Image:
    """A part of a picture with ``share`` of its sides, anywhere."""
    width, height = round(image.width * share), round(image.height * share)
    left = round(random.random() * (image.width - width))
    top = round(random.random() * (image.height - height))
    return image.crop((left, top, left + width, top + height))


Spoil = Callable[[Image.Image, np.random.Generator], Image.Image]
KINDS: dict[str, tuple[Spoil, int]] = {
    "scaled to 60 %": (lambda i, r: i.resize((max(64, i.width * 3 // 5), max(64, i.height * 3 // 5))), 85),
    "saved again at quality 35": (lambda i, r: i, 35),
    "brightened by 1.3": (lambda i, r: ImageEnhance.Brightness(i).enhance(1.3), 88),
    "cut to 90 %": (lambda i, r: cut(i, 0.9, r), 88),
    "cut to 80 %": (lambda i, r: cut(i, 0.8, r), 88),
}


def planted(photos: Sequence[LabelledPhoto], folder: Path, kind: str, seed: int) -> list[LabelledPhoto]:
    """A copy of each photo, of one kind, in a folder."""
    spoil, quality = KINDS[kind]
    random = np.random.default_rng(seed)
    copies = []
    for i, photo in enumerate(photos):
        file = folder / f"{kind} {i}.jpg"
        spoil(Image.open(photo.file).convert("RGB"), random).save(file, quality=quality)
        copies.append(replace(photo, file=file, name=f"copy of {photo.name}"))
    return copies


def copy_table(photos: Sequence[LabelledPhoto], x: Array) -> None:
    """Planted copies that are found, and what is found without any."""
    looks = look_at(photos, SETTINGS.quality.blur_side)
    found = find_duplicates(photos, looks, x, SETTINGS.duplicates)
    members = sum(len(c.photos) for c in found.clusters)
    conflicts = sum(c.is_conflict for c in found.clusters)
    print(
        f"without copies: {members} of {len(photos)} photos in {len(found.clusters)} clusters, "
        f"{conflicts} of which have two labels"
    )
    cluster_of = {name: i for i, c in enumerate(found.clusters) for name in c.photos}
    print("\n| copies | planted | found | joined to another photo |\n|---|---|---|---|")
    sources = sorted({p.source for p in photos})
    random = np.random.default_rng(1)
    pick = np.concatenate(
        [
            random.permutation(np.flatnonzero([p.source == s for p in photos]))[: COPIES // len(sources) + 1]
            for s in sources
        ]
    )[:COPIES]
    with tempfile.TemporaryDirectory() as folder:
        for kind in KINDS:
            copies = planted([photos[i] for i in pick], Path(folder), kind, 1)
            both = [*photos, *copies]
            everything = np.vstack([x, features_of(copies)[0]])
            again = find_duplicates(
                both, [*looks, *look_at(copies, SETTINGS.quality.blur_side)], everything, SETTINGS.duplicates
            )
            right = wrong = 0
            for cluster in again.clusters:
                names = set(cluster.photos)
                for copy in (name for name in names if name.startswith("copy of ")):
                    original = copy.removeprefix("copy of ")
                    right += original in names
                    # Photos that were one picture with the original before are no mistake.
                    before = {n for n in names if n in cluster_of and cluster_of[n] == cluster_of.get(original)}
                    wrong += bool({n for n in names if not n.startswith("copy of ")} - before - {original})
            print(f"| {kind} | {len(copies)} | {right / len(copies):.2f} | {wrong} |", flush=True)


def balanced(x: Array, labels: NDArray[np.str_], learn: Rows, test: Rows) -> float:
    """Balanced accuracy of a head fitted on some rows, on others."""
    head = Discriminant(fit_statistics(x[learn], list(labels[learn])), 0.4)
    said = np.array(head.classes)[head.scores(x[test]).argmax(axis=1)]
    return float(np.mean([(said[labels[test] == c] == c).mean() for c in np.unique(labels[test])]))


def next_table(photos: Sequence[LabelledPhoto], x: Array, draws: int = 15) -> None:
    """Fifty photos more: of the species advised, or of any; the photos advised, or any."""
    labels, found = np.array([p.label for p in photos]), []
    species = np.flatnonzero([not p.label.startswith(OTHER) for p in photos])
    for seed in range(1, draws + 1):
        random = np.random.default_rng(seed)
        part = np.array(split(photos, {"pool": 0.6, "test": 0.4}, seed))
        pool, test = species[part[species] == "pool"], few(photos, species[part[species] == "test"], 90, seed)
        start = np.concatenate(
            [
                few(photos, pool[labels[pool] == c], int(random.choice([4, 8, 16, 32])), seed)
                for c in np.unique(labels[pool])
            ]
        )
        free = random.permutation(np.setdiff1d(pool, start))
        found.append(
            [balanced(x, labels, rows, test) for rows in (start, *_grown(photos, x, labels, start, free, random))]
        )
    mean, error = np.mean(found, axis=0), np.std(np.diff(np.array(found)[:, [2, 1]], axis=1)) / np.sqrt(draws)
    names = (
        "at first",
        "species as advised",
        "species at random",
        "rarest species first",
        "photos as advised",
        "photos at random",
    )
    print("| fifty photos more | balanced accuracy |\n|---|---|")
    for name, value in zip(names, mean, strict=True):
        print(f"| {name} | {value:.3f} |")
    print(f"\nstandard error of species advised less random: {error:.3f}, {draws} draws")


def _grown(
    photos: Sequence[LabelledPhoto],
    x: Array,
    labels: NDArray[np.str_],
    start: Rows,
    free: Rows,
    random: np.random.Generator,
) -> list[Rows]:
    """Rows with fifty more, chosen five at a time in three ways, and fifty at once in two."""
    quick = SETTINGS.labels.model_copy(update={"folds": 4, "shrinkage": [0.4]})
    names = np.unique(labels[start])

    def advised(rows: Rows) -> str:
        judged = out_of_sample(x[rows], list(labels[rows]), [photos[i].group for i in rows], quick)
        here = [photos[i] for i in rows]
        return expect_gains(here, [p.group for p in here], judged, SETTINGS.next, SETTINGS.next.slope)[0].species

    ways: list[Callable[[Rows], str]] = [
        advised,
        lambda rows: str(random.choice(names)),
        lambda rows: str(min(names, key=lambda c: (labels[rows] == c).sum())),
    ]
    grown = []
    for way in ways:
        rows = start
        for _ in range(10):
            name = way(rows)
            rows = np.concatenate([rows, np.setdiff1d(free[labels[free] == name], rows, assume_unique=True)[:5]])
        grown.append(rows)
    loose = free[:800]
    judged = out_of_sample(x[start], list(labels[start]), [photos[i].group for i in start], quick)
    wide = SETTINGS.next.model_copy(update={"show_to_label": 50})
    told = rank_unlabelled([str(i) for i in loose], x[loose], (x[start], list(labels[start])), judged, wide)
    return [*grown, np.concatenate([start, [int(t.photo) for t in told]]), np.concatenate([start, loose[-50:]])]


def main(arguments: list[str]) -> int:
    """PHOTOS FEATURES [labels|copies|next]...: print the tables."""
    if len(arguments) < 2:
        sys.stderr.write(
            "usage: python -m tests.claims.audit_claims PHOTOS FEATURES.safetensors [labels|copies|next]...\n"
        )
        return 2
    photos = read_manifest(Path(arguments[0]))
    x, _ = features_of(photos, Path(arguments[1]))
    tables = {"labels": label_table, "copies": copy_table, "next": next_table}
    for name in arguments[2:] or tables:
        print(f"\n## {name}\n")
        tables[name](photos, x)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
