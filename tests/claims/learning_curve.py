"""How many photos a species needs when the network is tuned on them: 1 to 35 photos of species that are new to it.

    python -m training.adapt PHOTOS --out FOLDER --trial together
    python -m tests.claims.learning_curve PHOTOS --start FOLDER --out FILE [--seeds 0 1] [--shots 1 3]
    python -m tests.claims.learning_curve --table FILE…

Each fold of configs/recipes/starter.yaml leaves half of the classes out. From the network that never learned them,
as far from ImageNet's as the shipped one (ImageNet's itself without --start), two ways learn the same photos of
them and are judged on photos of other groups: quick is the closed-form head on features as they are; full tunes
the network by configs/recipes/full.yaml first, and pools both heads. With so few photos none are left to weigh
the two with, so they weigh alike. Classes weigh alike too.

It takes two GPUs four minutes, and two cores days: --seeds and --shots make it smaller, several processes can
share it, and --table prints what all of them found.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray

from model.photo import Discriminant, fit_statistics
from model.photo.backbone import Lite0
from training.adapt.judge import draw_shots, folds_of
from training.adapt.learn import roots_of
from training.adapt.nets import imagenet, put
from training.adapt.pack import Pack, pack_of
from training.adapt.ship import shipped_way
from training.adapt.stock import Stock, stock_of
from training.finetune.loop import Lesson, tune
from training.finetune.network import TuningNet
from training.finetune.processes import World
from training.finetune.schedule import TunePlan
from training.recipes.recipe import load_full_recipe, load_starter_recipe

Array = NDArray[np.float64]
SHOTS = (1, 3, 5, 10, 20, 35)
SEEDS = 5
TEMPERATURE = 5.0  # as the recipes fit it, about; it only sets where the linear head begins
FROM = "flickr_flowers", "clover_lawn"  # sources from the field


@dataclass(frozen=True)
class Bench:
    """Pictures, as they are packed and as views are cut from them."""

    pack: Pack
    pictures: list[NDArray[np.uint8]]
    stock: Stock


def right(bench: Bench, scores: Array, classes: Sequence[str], test: NDArray[np.int64]) -> dict[str, list[float]]:
    """Share of photos named right and within three, classes alike: of all, and of those from the field."""
    order = np.array(classes)[np.argsort(-scores, axis=1)[:, :3]]
    truth = np.array([bench.pack.rows[i].label for i in test])
    first, third = order[:, 0] == truth, (order == truth[:, None]).any(axis=1)
    field = {bench.pack.rows[i].label for i in test if bench.pack.rows[i].source in FROM}
    found = {}
    for name, some in (("all", set(truth.tolist())), ("field", field)):
        shares = [(first[truth == label].mean(), third[truth == label].mean()) for label in sorted(some)]
        if shares:
            found[name] = [float(value) for value in np.mean(shares, axis=0)]
    return found


def one(bench: Bench, start: Lite0, tested: NDArray[np.int64], shots: int, seed: int) -> dict[str, object]:
    """Quick, full, and full without the pool, on one draw of photos."""
    recipe, judged = load_full_recipe(), load_starter_recipe().judged
    learn, test = draw_shots(bench.pack.rows, tested, shots, (seed, shots))
    labels = [bench.pack.rows[i].label for i in learn]
    sides, parts = tuple(judged.sides), judged.parts
    start.to(bench.stock.device).eval()
    plain = Discriminant(fit_statistics(roots_of(start, bench.stock, learn, sides, parts), labels), judged.shrinkage)
    said = plain.scores(roots_of(start, bench.stock, test, sides, parts))
    torch.manual_seed(seed)
    net = TuningNet(start, len(plain.classes), recipe.tune.kept_blocks)
    own = fit_statistics(roots_of(start, bench.stock, learn, (judged.sides[0],), 1), labels)
    net.start_head(own, judged.shrinkage, TEMPERATURE)
    truth = np.array([plain.classes.index(label) for label in labels])
    plan = TunePlan(len(learn), recipe.tune.epochs, recipe.tune, seed)
    lesson = Lesson([bench.pictures[i] for i in learn], truth, len(plain.classes))
    tune(net, lesson, plan, World(device=bench.stock.device))
    z, known = (roots_of(net.backbone, bench.stock, rows, sides, parts) for rows in (test, learn))
    tuned = Discriminant(fit_statistics(known, labels), judged.shrinkage).scores(z)
    ways = {"quick": said, "full": said + tuned, "full, tuned head alone": tuned}
    return {name: right(bench, scores, plain.classes, test) for name, scores in ways.items()}


def run(given: argparse.Namespace) -> None:
    """All draws, each written as soon as it is there."""
    recipe = load_starter_recipe()
    pack, packed = pack_of(given.photos, given.out.parent / "pack", recipe)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.backends.cudnn.benchmark = True
    bench = Bench(pack, list(pack.pictures()), stock_of(pack, recipe.stored_side, device))
    found = json.loads(given.out.read_text(encoding="utf-8")) if given.out.exists() else {}
    for seed in given.seeds:
        for fold, left_out in enumerate(folds_of(pack.rows, recipe.folds)):
            rows = judged_rows(pack, left_out, recipe.judged.photos, recipe.seed)
            for shots in given.shots:
                name = f"{fold} {shots} {seed}"
                if name in found:
                    continue
                start = imagenet("lite0", packed)
                if given.start:
                    put(start, shipped_way(recipe, given.start, fold, packed))
                begun = time.monotonic()
                found[name] = one(bench, start, rows, shots, seed)
                given.out.write_text(json.dumps(found), encoding="utf-8")
                sys.stderr.write(f"fold {fold}, {shots} photos, seed {seed}: {time.monotonic() - begun:.0f} s\n")


def judged_rows(pack: Pack, left_out: frozenset[str], most: int, seed: int) -> NDArray[np.int64]:
    """Photos of the classes left out that are not in the fit part, at most so many a class."""
    found: list[int] = []
    for label in sorted(left_out):
        here = [i for i, row in enumerate(pack.rows) if row.label == label and row.part != "fit"]
        found += [int(i) for i in np.random.default_rng([seed, 5]).permutation(here)[:most]]
    return np.array(sorted(found))


def table(files: Sequence[Path]) -> str:
    """Mean over folds and seeds, and its spread over seeds, in per cent: named right, and within three."""
    found = {k: v for file in files for k, v in json.loads(file.read_text(encoding="utf-8")).items()}
    shots = sorted({int(name.split()[1]) for name in found})
    lines = ["| | " + " | ".join(map(str, shots)) + " |", "|---|" + "---|" * len(shots)]
    for kind in ("all", "field"):
        for way in ("quick", "full", "full, tuned head alone"):
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
    parser.add_argument("--out", type=Path)
    parser.add_argument("--start", type=Path)
    parser.add_argument("--shots", type=int, nargs="+", default=list(SHOTS))
    parser.add_argument("--seeds", type=int, nargs="+", default=list(range(SEEDS)))
    parser.add_argument("--table", type=Path, nargs="+")
    given = parser.parse_args(arguments)
    if not given.table:
        if not given.photos or not given.out:
            parser.error("PHOTOS and --out are needed; or --table FILE…")
        run(given)
    print(table(given.table or [given.out]))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
