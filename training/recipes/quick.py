"""The quick recipe: minutes; the shipped network, with a classifier fitted to your own photos as well."""

from __future__ import annotations

from training.recipes.candidate import Candidate, Training
from training.recipes.recipe import Recipe

Settings = Recipe


def make(training: Training) -> Candidate:
    """The head that was fitted and calibrated for every recipe is the model."""
    learned, data = training.learned, training.data
    return Candidate(
        learned.classifier,
        learned.grown(data.part("fit", "calibrate", "conformal")),
        learned.grown(data),
        "the shipped starter's features and statistics",
    )
