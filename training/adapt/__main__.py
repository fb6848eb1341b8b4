"""Try ways to adapt the network, or learn the one that was chosen on all classes; see the package."""

from __future__ import annotations

from training.finetune.torch_install import exit_without_torch

if __name__ == "__main__":  # before the imports below miss it
    exit_without_torch("python -m training.adapt")

import argparse
import sys
import time
from pathlib import Path

import torch

from model.errors import SwardkeyError
from training.adapt.pack import DRAWN, THING, pack_of
from training.adapt.run import Runner
from training.adapt.ship import BACKBONE, ship
from training.adapt.stock import stock_of
from training.adapt.table import table
from training.recipes.recipe import load_starter_recipe


def main(arguments: list[str]) -> int:
    """Run what is not done yet, then print the table of all that is.

    Gives 0 when all is done, 3 when the time was up before, 2 on bad input.
    """
    parser = argparse.ArgumentParser(prog="python -m training.adapt")
    parser.add_argument("photos", type=Path, help="a folder of photos with a manifest.csv, or a pack of it")
    parser.add_argument("--out", type=Path, required=True, help="results and weights; a run that was cut goes on there")
    parser.add_argument("--recipe", type=Path, help="in place of configs/recipes/starter.yaml")
    parser.add_argument("--trial", action="append", default=[], metavar="NAME", help="these alone; all without")
    parser.add_argument("--ship", action="store_true", help="then learn all classes, and write what is to be shipped")
    parser.add_argument("--minutes", type=float, default=1e6, help="begin no trial that would end later")
    given = parser.parse_args(arguments)
    until = time.monotonic() + 60 * given.minutes
    try:
        recipe = load_starter_recipe(*([given.recipe] if given.recipe else []))
        given.out.mkdir(parents=True, exist_ok=True)
        pack, packed = pack_of(given.photos, given.out / "pack", recipe)
        device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
        torch.backends.cudnn.benchmark = True
        stock = stock_of(pack, recipe.stored_side, device)
        runner = Runner(pack, stock, recipe, packed, given.out)
        trials, final = given.trial or list(recipe.trials), recipe.shipped.trial if given.ship else None
        left = runner.run(runner.plan(trials, final), until)
        sources = sorted({row.source for row in pack.rows} - {DRAWN, THING})
        shown = table(runner.done(), trials, recipe.judged.shots, sources)
        print(shown)
        if given.ship and not left:
            print(f"{given.out / BACKBONE}: sha256 {ship(runner, shown)}, to be noted in model/photo/weights.py")
    except SwardkeyError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    if left:
        print(f"time is up; not done: {', '.join(job.name for job in left)}")
    return 3 if left else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
