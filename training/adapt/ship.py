"""The weights that are shipped: part of the way from ImageNet's to those that learned all classes."""

from __future__ import annotations

from pathlib import Path

from model.file import sha256_of
from training.adapt.nets import State, blend, imagenet, read_state, save_state, state_of
from training.adapt.run import Job, Runner
from training.recipes.make_starter import ADAPTATION
from training.recipes.recipe import StarterRecipe

LEGEND = """Each row is a trial, learned without half of the classes and judged on them, for both halves, by its frozen
features: how often, in per cent, a closed-form head from 1, 5, 10 or 35 photos of each names photos of other
groups right, classes alike; the same by source at the most photos; how well plants left out, and drawn things
that are no plant, are told from plants learned (AUROC); seconds to learn. Blend: how much of the way from
ImageNet's weights was gone. Folds: halves that are done; the first is the easier one, so that rows of one fold
do not compare with rows of two. All learned: judged on all its classes at once, which are twice as many."""
BACKBONE = "backbone.safetensors"


def ship(runner: Runner, shown: str) -> str:
    """Write the weights and the table of trials ``shown``, and give the sha256 that model/photo/weights.py must know.

    The trial of the recipe must have learned all classes before. Raises ModelError where it has not, OSError.
    """
    save_state(runner.out / BACKBONE, shipped_way(runner.recipe, runner.out, None, runner.packed))
    (runner.out / ADAPTATION).write_text(account(runner, shown), encoding="utf-8")
    return sha256_of(runner.out / BACKBONE)


def shipped_way(recipe: StarterRecipe, learned: Path, fold: int | None, packed: Path | None = None) -> State:
    """Weights as far from ImageNet's as those that are shipped, of the network that did not learn ``fold``; None: all.

    ``learned``: folder in which the trial was run; ``packed`` one with ImageNet's weights, else their package. Raises
    ModelError where either is missing.
    """
    trial, share = recipe.shipped.trial, recipe.shipped.blend
    start = state_of(imagenet(recipe.trial(trial).net, packed))
    return blend(start, read_state(learned / f"{Job(trial, fold).name}.safetensors"), share)


def account(runner: Runner, shown: str) -> str:
    """What was tried and what is shipped, as Markdown."""
    shipped = runner.recipe.shipped
    result = runner.done()[Job(shipped.trial, None).name]
    way = f"{shipped.blend:.0%} of the way from ImageNet's weights to its own"
    told = f"{result['photos']} pictures of {result['classes']} classes (photos of the fit part, and drawings)"
    return (
        "# How the network was adapted\n\n"
        f"Shipped: trial `{shipped.trial}` of configs/recipes/starter.yaml, {way}, learned from {told}.\n\n"
        f"{LEGEND}\n\n{shown}\n"
    )
