"""How well the starter knows what it has never learned: plants left out, drawings of plants, and what is no plant.

    python -m tests.claims.strange ../shared/photos FEATURES.safetensors

Half of the classes are left out in turn: a starter of the others, as training.recipes.make_starter makes it, meets
photos of them, of which the network has learned none either. Three tables: how well those are told from held-out photos
of classes learned (AUROC: 0.5 is chance, 1 perfect), and drawn things that are no plant with them, for there are no
photos of such, and drawings are easier; how a new species fares that is learned from few photos; and what five new
species of ten photos each cost those that were known. Features take two cores 15 minutes the first time. Of each class
at most 100 photos are learned from, and of seedlings, whose groups are not known, 25 of a part judged.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from sklearn.metrics import roc_auc_score

from model.photo.evidence import UNLIKE, Classifier
from model.photo.extract import Extractor
from model.photo.head import Discriminant, Statistics, fit_statistics
from model.photo.saved import STARTER, read_model
from model.photo.views import views
from tests.claims.things import draw_thing
from training.data.dataset import Data
from training.data.features import features_of
from training.data.manifest import LabelledPhoto, read_manifest
from training.data.split import split
from training.head.scatter import join, scatter_weight
from training.recipes.make_starter import learn_starter
from training.recipes.recipe import load_recipe

Array = NDArray[np.float64]
THINGS = 140
SHOTS = (5, 10, 20, 35)
LEARNED, JUDGED = 100, 25
NEW, NEW_PHOTOS, DRAWS = 5, 10, 5


@dataclass(frozen=True)
class Half:
    """A starter that never learned the classes ``left_out``, and photos of all."""

    classifier: Classifier
    data: Data
    left_out: frozenset[str]
    things: Array

    def held_out(self, new: bool) -> Data:
        """Held-out photos of the classes left out, or of those learned."""
        return self._of(self.data.part("held_out"), new)

    def fit(self, new: bool) -> Data:
        """Photos to learn from: of the classes left out, or of those learned."""
        return self._of(self.data.part("fit"), new)

    def _of(self, data: Data, new: bool) -> Data:
        return data.where(np.array([(label in self.left_out) == new for label in data.labels]))


def halves_of(photos: Sequence[LabelledPhoto]) -> list[frozenset[str]]:
    """The classes in two halves: dealt in turn, source by source, so that each has some of every kind."""
    named = sorted({(photo.source, photo.label) for photo in photos})
    return [frozenset(label for i, (_, label) in enumerate(named) if i % 2 == half) for half in range(2)]


def halves(folder: Path, cache: Path) -> Iterator[Half]:
    """One for each half of the classes."""
    recipe = load_recipe("quick")
    photos = read_manifest(folder)
    parts = split(photos, recipe.shares, recipe.seed)
    rows = some(photos, parts)
    chosen = tuple(photos[i] for i in rows)
    extractor = Extractor()
    x, _ = features_of(chosen, cache, _progress, extractor)
    data = Data(x, chosen, np.array([parts[i] for i in rows]))
    things = np.stack([extractor.features_of_views(views(draw_thing(seed))) for seed in range(THINGS)])
    for left_out in halves_of(photos):
        known = data.where(np.array([label not in left_out for label in data.labels]))
        yield Half(learn_starter(known, recipe).classifier, data, left_out, things)


def some(photos: list[LabelledPhoto], parts: list[str]) -> list[int]:
    """At most LEARNED photos a class of the fit part; all others of the field, at most JUDGED a part of others."""
    chance, found = np.random.default_rng(3), []
    labels, at = np.array([photo.label for photo in photos]), np.array(parts)
    field = np.array([photo.group_known for photo in photos])
    for label in sorted(set(labels.tolist())):
        for part in ("fit", "calibrate", "held_out"):
            rows = np.flatnonzero((labels == label) & (at == part))
            most = LEARNED if part == "fit" else len(rows) if field[rows].all() else JUDGED
            found += chance.permutation(rows)[:most].tolist()
    return sorted(found)


def told_apart(found: list[Half]) -> None:
    """The first table."""
    aurocs: dict[str, list[float]] = {}
    unlike: dict[str, list[float]] = {}
    for half in found:
        known, new = half.held_out(False), half.held_out(True)
        ordinary = half.classifier.novelty(known.x)
        for name, field in (("from the field", True), ("seedlings", False)):
            here = np.array([photo.group_known == field for photo in known.photos])
            unlike.setdefault(f"of classes learned, {name}", []).append(_unlike(half, ordinary[here]))
        strange = {"drawn things, no plants": half.classifier.novelty(half.things)}
        labels = np.array(new.labels)
        for label in sorted(half.left_out):
            field = new.where(labels == label).photos[0].group_known
            strange[f"{label}, " + ("from the field" if field else "seedlings")] = half.classifier.novelty(
                new.x[labels == label]
            )
        for name, values in strange.items():
            kind = name if "things" in name else "of classes left out, " + name.rpartition(", ")[2]
            truth = np.repeat([0, 1], [len(ordinary), len(values)])
            auroc = float(roc_auc_score(truth, np.concatenate([ordinary, values])))
            for told in (kind,) if "things" in name else (kind, "of all classes left out"):
                aurocs.setdefault(told, []).append(auroc)
                unlike.setdefault(told, []).append(_unlike(half, values))
    print("| photos | AUROC | said to be unlike all that is known |\n|---|---|---|")
    for name, shares in unlike.items():
        shown = f"{np.mean(aurocs[name]):.3f}" if name in aurocs else "-"
        print(f"| {name} | {shown} | {np.mean(shares):.3f} |")


def _unlike(half: Half, novelty: Array) -> float:
    return float((half.classifier.ratio(novelty) >= UNLIKE).mean())


def learned_from_few(found: list[Half], seed: int = 1) -> None:
    """The second table. The calibration is the starter's, as with too few photos to fit another."""
    print("\n| new species | photos | named right | unlike |\n|---|---|---|---|")
    for half in found:
        old, new, judged = half.fit(False), half.fit(True), half.held_out(True)
        for name in sorted(half.left_out):
            rows = np.flatnonzero(np.array(new.labels) == name)
            x = judged.x[np.array(judged.labels) == name]
            for shots in SHOTS:
                own = np.random.default_rng(seed).permutation(rows)[:shots]
                learned = np.concatenate([old.x, new.x[own]])
                few = Classifier(
                    fit_statistics(learned, [*old.labels, *[name] * len(own)]), half.classifier.calibration
                )
                said = np.array([*few.species, "other"])[few.probabilities(x).argmax(axis=1)]
                right = (said == name.split(":")[0]).mean()
                print(f"| {name} | {shots} | {right:.2f} | {(few.novelty_ratio(x) >= UNLIKE).mean():.2f} |")


def cost_of_new_species(found: list[Half]) -> None:
    """The third table: new species join, and the head alone, without novelty, names the held-out photos of all.

    Shrinkage is that of the shipped starter. The more of it, the better for new species and the dearer for old ones.
    """
    before, after, new = [], [], []
    shrinkage = read_model(STARTER)[1].shrinkage
    for half in found:
        old, known = half.classifier.statistics, half.held_out(False)
        before.append(_right(old, shrinkage, known))
        for draw in range(DRAWS):
            chance = np.random.default_rng(draw)
            fit, added = half.fit(True), sorted(chance.choice(sorted(half.left_out), NEW, replace=False))
            rows = [chance.permutation(np.flatnonzero(np.array(fit.labels) == name))[:NEW_PHOTOS] for name in added]
            few = fit_statistics(fit.x[np.concatenate(rows)], [fit.labels[i] for i in np.concatenate(rows)])
            joined = join(old, few, scatter_weight(old, load_recipe("quick").base_photos))
            after.append(_right(joined, shrinkage, known))
            judged = half.held_out(True)
            new.append(_right(joined, shrinkage, judged.where(np.isin(judged.labels, added))))
    print(f"\n| known species before | with {NEW} new of {NEW_PHOTOS} photos | the new |\n|---|---|---|")
    print(f"| {np.mean(before):.1%} | {np.mean(after):.1%} | {np.mean(new):.1%} |")


def _right(statistics: Statistics, shrinkage: float, data: Data) -> float:
    head = Discriminant(statistics, shrinkage)
    hit = np.array(head.classes)[head.scores(data.x).argmax(axis=1)] == np.array(data.labels)
    return float(np.mean([hit[np.array(data.labels) == label].mean() for label in sorted(set(data.labels))]))


def _progress(done: int, of: int) -> None:
    if done % 200 == 0 or done == of:
        sys.stderr.write(f"\rfeatures {done} of {of}" + ("\n" if done == of else ""))


def main(arguments: list[str]) -> int:
    """PHOTOS FEATURES: print the three tables."""
    if len(arguments) != 2:
        sys.stderr.write("usage: python -m tests.claims.strange PHOTOS FEATURES.safetensors\n")
        return 2
    found = list(halves(*(Path(name) for name in arguments)))
    told_apart(found)
    learned_from_few(found)
    cost_of_new_species(found)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
