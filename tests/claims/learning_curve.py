"""How many photos a species needs when the network is tuned on them: 1 to 35 photos of species that are new to it.

    python -m tests.claims.learning_curve PHOTOS OUT.json [--seeds 0 1] [--shots 1 3]
    python -m tests.claims.learning_curve --table FILE…

Half of the classes at a time: two ways learn the same photos of them, of which the shipped network has learned none,
and are judged on photos of other groups. quick is the closed-form head on features as they are; full tunes the network
by configs/recipes/full.yaml first, and adds up three heads: the closed-form one on either features, and the linear one
that was tuned. With so few photos none are left to weigh them with, so that each counts by its spread over the classes.

It takes a GPU minutes, and two cores days: --seeds and --shots make it smaller, and --table prints what several runs
found together.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray

from model.photo.head import Discriminant, fit_statistics
from model.photo.sandbox import open_photo
from model.photo.tuned import linear_logits
from model.photo.views import views
from model.photo.weights import read_shipped
from tests.claims.strange import halves_of
from training.data.manifest import LabelledPhoto, read_manifest
from training.data.split import split
from training.finetune.network import Lite0, TuningNet, load
from training.finetune.user_network import tune
from training.recipes.recipe import load_recipe

Array = NDArray[np.float64]
SHOTS = (1, 3, 5, 10, 20, 35)
SEEDS = 5
MOST = 100  # photos of a class that are looked at
LEAST_TESTED = 10  # photos of a class, left after those that are learned from
SHRINKAGE, TEMPERATURE = 0.2, 5.0  # as the recipes fit them, about; the second only sets where the linear head begins
FROM = "flickr_flowers", "clover_lawn"  # sources from the field


def right(scores: Array, classes: Sequence[str], test: Sequence[LabelledPhoto]) -> dict[str, list[float]]:
    """Share of photos named right and within three, classes alike: of all, and of those from the field."""
    order = np.array(classes)[np.argsort(-scores, axis=1)[:, :3]]
    truth = np.array([photo.label for photo in test])
    first, third = order[:, 0] == truth, (order == truth[:, None]).any(axis=1)
    field = {photo.label for photo in test if photo.source in FROM}
    found = {}
    for name, some in (("all", set(truth.tolist())), ("field", field)):
        shares = [(first[truth == label].mean(), third[truth == label].mean()) for label in sorted(some)]
        if shares:
            found[name] = [float(value) for value in np.mean(shares, axis=0)]
    return found


def deal(photos: Sequence[LabelledPhoto], shots: int, seed: int) -> tuple[list[LabelledPhoto], list[LabelledPhoto]]:
    """Photos to learn from, ``shots`` a class, and those of other groups to test on; classes with too few are left."""
    chance = np.random.default_rng([seed, shots])
    learn: list[LabelledPhoto] = []
    test: list[LabelledPhoto] = []
    for label in sorted({photo.label for photo in photos}):
        groups: dict[str, list[LabelledPhoto]] = {}
        for photo in photos:
            if photo.label == label:
                groups.setdefault(photo.group, []).append(photo)
        order = [groups[name] for name in chance.permutation(sorted(groups))]
        taken: list[LabelledPhoto] = []
        while order and len(taken) < shots:
            taken += order.pop()[: shots - len(taken)]
        rest = [photo for group in order for photo in group]
        if len(taken) == shots and len(rest) >= LEAST_TESTED:
            learn, test = learn + taken, test + rest
    return learn, test


@cache
def pixels_of(file: Path) -> NDArray[np.uint8]:
    """Pixels of a photo, uint8 (height, width, 3), decoded once in all draws."""
    return open_photo(file).pixels


@torch.no_grad()
def roots_of(net: Lite0, photos: Sequence[LabelledPhoto], device: torch.device) -> Array:
    """Features over the six smaller views of each photo, float (photos, features)."""
    net.to(device)
    found = [net(torch.from_numpy(views(pixels_of(p.file))[0]).to(device)).mean(dim=0).sqrt() for p in photos]
    return np.asarray(torch.stack(found).cpu().numpy(), np.float64)


def one(network: bytes, photos: Sequence[LabelledPhoto], shots: int, seed: int) -> dict[str, object]:
    """Quick, full, and full without the pool, on one draw of photos."""
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    learn, test = deal(photos, shots, seed)
    labels, start, settings = [photo.label for photo in learn], load(network), load_recipe("full").tune
    statistics = fit_statistics(roots_of(start, learn, device), labels)
    plain = Discriminant(statistics, SHRINKAGE)
    said = plain.scores(roots_of(start, test, device))
    torch.manual_seed(seed)
    net = TuningNet(start, len(plain.classes), settings.kept_blocks).to(device)
    net.start_head(statistics, SHRINKAGE, TEMPERATURE)
    truth = np.array([plain.classes.index(label) for label in labels])
    tune(net, [pixels_of(photo.file) for photo in learn], truth, settings, seed)
    known, z = fit_statistics(roots_of(net.backbone, learn, device), labels), roots_of(net.backbone, test, device)
    tuned, linear = Discriminant(known, SHRINKAGE).scores(z), linear_logits(z, *net.head_weights())
    together = sum(scores / np.std(scores - scores.mean(axis=1, keepdims=True)) for scores in (said, tuned, linear))
    ways = {"quick": said, "full": together, "full, tuned heads alone": tuned + linear}
    return {name: right(scores, plain.classes, test) for name, scores in ways.items()}


def run(given: argparse.Namespace) -> None:
    """All draws, each written as soon as it is there."""
    recipe, photos = load_recipe("quick"), read_manifest(given.photos)
    parts = split(photos, recipe.shares, recipe.seed)
    found = json.loads(given.out.read_text(encoding="utf-8")) if given.out.exists() else {}
    for half, left_out in enumerate(halves_of(photos)):
        judged: list[LabelledPhoto] = []
        for label in sorted(left_out):
            here = [p for p, part in zip(photos, parts, strict=True) if p.label == label and part != "fit"]
            judged += [here[i] for i in np.random.default_rng([recipe.seed, 5]).permutation(len(here))[:MOST]]
        for name in [f"{half} {shots} {seed}" for seed in given.seeds for shots in given.shots]:
            if name not in found:
                begun = time.monotonic()
                found[name] = one(read_shipped(), judged, *(int(number) for number in name.split()[1:]))
                given.out.write_text(json.dumps(found), encoding="utf-8")
                sys.stderr.write(f"half, photos, seed {name}: {time.monotonic() - begun:.0f} s\n")


def table(files: Sequence[Path]) -> str:
    """Mean over folds and seeds, and its spread over seeds, in per cent: named right, and within three."""
    found = {k: v for file in files for k, v in json.loads(file.read_text(encoding="utf-8")).items()}
    shots = sorted({int(name.split()[1]) for name in found})
    lines = ["| | " + " | ".join(map(str, shots)) + " |", "|---|" + "---|" * len(shots)]
    for kind in ("all", "field"):
        for way in ("quick", "full", "full, tuned heads alone"):
            for place, told in enumerate(("first", "within three")):
                cells = [_cell(found, count, way, kind, place) for count in shots]
                lines.append(f"| {kind}, {way}, {told} | " + " | ".join(cells) + " |")
    return "\n".join(lines)


def _cell(found: dict[str, Any], count: int, way: str, kind: str, place: int) -> str:
    by_seed: dict[str, list[float]] = {}
    for name, said in found.items():
        _, shots, seed = name.split()
        if int(shots) == count and kind in said[way]:
            by_seed.setdefault(seed, []).append(100 * said[way][kind][place])
    means = [np.mean(values) for values in by_seed.values()]
    return f"{np.mean(means):.1f} ± {np.std(means):.1f}" if means else ""


def main(arguments: list[str]) -> int:
    """Measure, or print the table of what was measured."""
    parser = argparse.ArgumentParser(prog="python -m tests.claims.learning_curve")
    parser.add_argument("photos", type=Path, nargs="?")
    parser.add_argument("out", type=Path, nargs="?")
    parser.add_argument("--shots", type=int, nargs="+", default=list(SHOTS))
    parser.add_argument("--seeds", type=int, nargs="+", default=list(range(SEEDS)))
    parser.add_argument("--table", type=Path, nargs="+")
    given = parser.parse_args(arguments)
    if not given.table:
        if not given.out:
            parser.error("PHOTOS and OUT are needed; or --table FILE…")
        run(given)
    print(table(given.table or [given.out]))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
