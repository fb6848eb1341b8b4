"""Judge a network by its frozen features, on classes that it never learned.

    python -m training.adapt.judge PHOTOS [WEIGHTS] [--net lite0|lite2] [--fold N] [--recipe FILE]

prints how often a closed-form head names a photo right that was made from 1, 5, 10 and 35 photos of each class
left out (no group in both), and how well those classes and what is no plant are told from classes learned (AUROC).
"""

from __future__ import annotations

from training.finetune.torch_install import exit_without_torch

if __name__ == "__main__":  # before the imports below miss it
    exit_without_torch("python -m training.adapt.judge")

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from sklearn.metrics import roc_auc_score

from model.errors import SwardkeyError
from model.photo import Discriminant, fit_statistics
from model.photo.backbone import Lite0
from model.photo.weights import FEATURES
from training.adapt.learn import roots_of
from training.adapt.nets import imagenet, put, read_state
from training.adapt.pack import DRAWN, THING, Pack, Row, pack_of
from training.adapt.stock import Stock, stock_of
from training.adapt.strange import ways_of_strangeness
from training.recipes.recipe import Judged, StarterRecipe, load_starter_recipe

Array = NDArray[np.float64]
Rows = NDArray[np.int64]
LEAST_TESTED = 10  # photos of a class, left after those that are learned from


def folds_of(rows: Sequence[Row], folds: int) -> list[frozenset[str]]:
    """The classes that each fold leaves out: dealt in turn, source by source, so that each has some of every kind."""
    named = sorted({(row.source, row.label) for row in rows if row.source not in (DRAWN, THING)})
    return [frozenset(label for i, (_, label) in enumerate(named) if i % folds == fold) for fold in range(folds)]


def judge(
    net: Lite0, stock: Stock, pack: Pack, recipe: StarterRecipe, left_out: frozenset[str] | None
) -> dict[str, Any]:
    """Figures of a network that never learned the classes ``left_out``; None: of one that learned all.

    ``shots``: share named right, classes alike, by photos learned from, mean and spread over draws, of all and
    of each source. ``strange``: AUROC by way and by what is strange: each source left out, and things.
    """
    judged, rows = recipe.judged, pack.rows
    some = _judged_rows(rows, judged, recipe.seed)
    x = np.full((len(rows), FEATURES), np.nan)
    net = net.to(stock.device).eval()
    x[some] = roots_of(net, stock, some, tuple(judged.sides), judged.parts)
    asked = frozenset(row.label for row in rows if row.source not in (DRAWN, THING)) if left_out is None else left_out
    tested = np.array([i for i in some if rows[i].label in asked and rows[i].part != "fit"])
    return {
        "shots": {str(shots): few_shots(x, rows, tested, shots, judged, recipe.seed) for shots in judged.shots},
        "strange": _strange(x, rows, some, left_out or frozenset()),
        "classes": sorted(asked),
        "photos": len(tested),
    }


def _judged_rows(rows: Sequence[Row], judged: Judged, seed: int) -> Rows:
    """At most so many photos a class of the fit part and of the others, and all things."""
    found = [i for i, row in enumerate(rows) if row.source == THING]
    for label in sorted({row.label for row in rows if row.source not in (DRAWN, THING)}):
        for fit, most in ((True, judged.fit_photos), (False, judged.photos)):
            here = [i for i, row in enumerate(rows) if row.label == label and (row.part == "fit") == fit]
            found += [int(i) for i in np.random.default_rng([seed, 5]).permutation(here)[:most]]
    return np.array(sorted(found))


def few_shots(
    x: Array, rows: Sequence[Row], tested: Rows, shots: int, judged: Judged, seed: int
) -> dict[str, list[float]]:
    """Mean and standard deviation over draws of the share named right, over all classes and by source."""
    found: dict[str, list[float]] = {}
    for draw in range(judged.draws):
        learn, test = draw_shots(rows, tested, shots, (seed, draw))
        if not len(learn):
            continue
        head = Discriminant(fit_statistics(x[learn], [rows[i].label for i in learn]), judged.shrinkage)
        said = np.array(head.classes)[head.scores(x[test]).argmax(axis=1)]
        right: dict[str, list[bool]] = {label: [] for label in head.classes}
        for i, name in zip(test, said, strict=True):
            right[rows[i].label].append(bool(name == rows[i].label))
        sources = {rows[i].label: rows[i].source for i in learn}
        shares = {label: float(np.mean(hits)) for label, hits in right.items() if hits}
        found.setdefault("all", []).append(float(np.mean(list(shares.values()))))
        for source in sorted(set(sources.values())):
            own = [share for label, share in shares.items() if sources[label] == source]
            found.setdefault(source, []).append(float(np.mean(own)))
    return {name: [float(np.mean(v)), float(np.std(v))] for name, v in found.items()}


def draw_shots(rows: Sequence[Row], tested: Rows, shots: int, seed: Sequence[int]) -> tuple[Rows, Rows]:
    """Rows to learn from, ``shots`` a class, and those of other groups to test on; classes with too few are left."""
    chance = np.random.default_rng(list(seed))
    learn: list[int] = []
    test: list[int] = []
    for label in sorted({rows[i].label for i in tested}):
        groups: dict[str, list[int]] = {}
        for i in tested:
            if rows[i].label == label:
                groups.setdefault(rows[i].group, []).append(int(i))
        order = [groups[name] for name in chance.permutation(sorted(groups))]
        taken: list[int] = []
        while order and len(taken) < shots:
            taken += order.pop()[: shots - len(taken)]
        rest = [i for group in order for i in group]
        if len(taken) == shots and len(rest) >= LEAST_TESTED:
            learn, test = learn + taken, test + rest
    return np.array(learn, dtype=np.int64), np.array(test, dtype=np.int64)


def _strange(x: Array, rows: Sequence[Row], some: Rows, left_out: frozenset[str]) -> dict[str, dict[str, float]]:
    """AUROC of each way, by what is strange, against judged photos of the classes learned."""
    learned = [i for i in some if rows[i].label not in left_out and rows[i].source != THING]
    fit, known = ([i for i in learned if (rows[i].part == "fit") == fitted] for fitted in (True, False))
    strange: dict[str, list[int]] = {THING: [i for i in some if rows[i].source == THING]}
    for source in sorted({rows[i].source for i in some if rows[i].label in left_out}):
        strange[f"left out {source}"] = [i for i in some if rows[i].label in left_out and rows[i].source == source]
    strange["left out"] = [i for i in some if rows[i].label in left_out]
    ways = ways_of_strangeness(x[fit], [rows[i].label for i in fit])
    found: dict[str, dict[str, float]] = {}
    for way, score in ways.items():
        ordinary = score(x[known])
        found[way] = {
            name: float(roc_auc_score([0] * len(known) + [1] * len(here), np.concatenate([ordinary, score(x[here])])))
            for name, here in strange.items()
            if here
        }
    return found


def main(arguments: list[str]) -> int:
    """Judge one network alone, and print its table."""
    parser = argparse.ArgumentParser(prog="python -m training.adapt.judge")
    parser.add_argument("photos", type=Path, help="a folder of photos with a manifest.csv, or a pack")
    parser.add_argument("weights", type=Path, nargs="?", help="adapted weights; ImageNet's without")
    parser.add_argument("--net", choices=("lite0", "lite2"), default="lite0")
    parser.add_argument("--fold", type=int, help="the fold whose classes the weights never learned; all without")
    parser.add_argument("--recipe", type=Path)
    parser.add_argument("--pack", type=Path, default=Path("pack"), help="where a pack of the photos is kept")
    given = parser.parse_args(arguments)
    try:
        recipe = load_starter_recipe(*([given.recipe] if given.recipe else []))
        pack, folder = pack_of(given.photos, given.pack, recipe)
        net = imagenet(given.net, folder)
        if given.weights:
            net = put(net, read_state(given.weights))
        device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
        folds = folds_of(pack.rows, recipe.folds)
        left_out = None if given.fold is None else folds[given.fold % recipe.folds]
        said = judge(net, stock_of(pack, recipe.stored_side, device), pack, recipe, left_out)
    except SwardkeyError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    for shots, figures in said["shots"].items():
        told = ", ".join(f"{name} {mean:.1%} ± {off:.1%}" for name, (mean, off) in figures.items())
        print(f"{shots:>3} photos: {told}")
    for way, figures in said["strange"].items():
        print(f"{way}: " + ", ".join(f"{name} {value:.3f}" for name, value in figures.items()))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
