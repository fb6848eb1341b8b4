"""A fine-tuning as it will be: steps, sizes and rates, before the first one is taken."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.finetune.tune_settings import Tune

WARM_UP = 0.05  # share of the steps over which the rate rises


@dataclass(frozen=True)
class TunePlan:
    """``photos`` seen once an epoch, in batches that are filled up from the beginning."""

    photos: int
    epochs: int
    recipe: Tune
    seed: int

    @property
    def batches(self) -> int:
        """Steps of one epoch."""
        return -(-self.photos // self.recipe.batch)

    @property
    def steps(self) -> int:
        """Steps of the whole."""
        return self.batches * self.epochs

    def order(self, epoch: int) -> Iterator[NDArray[np.int64]]:
        """Rows of each batch of an epoch: every photo once, and the first ones again to fill the last batch."""
        order = np.random.default_rng([self.seed, epoch]).permutation(self.photos)
        yield from np.resize(order, self.batches * self.recipe.batch).reshape(self.batches, -1)

    def side(self, epoch: int) -> int:
        """Size of the views in px: small at first, which is quicker, and as in use at the end."""
        sides = self.recipe.sides
        return sides[min(epoch * len(sides) // self.epochs, len(sides) - 1)]

    def rate(self, step: int) -> float:
        """Learning rate of a step: rising, then falling along a cosine to nearly 0."""
        warm = max(round(WARM_UP * self.steps), 1)
        if step < warm:
            return self.recipe.rate * (step + 1) / warm
        return self.recipe.rate * 0.5 * (1 + math.cos(math.pi * (step - warm) / max(self.steps - warm, 1)))

    @property
    def remembered(self) -> float:
        """Share of the running average that each step leaves."""
        return 1 - 1 / max(self.recipe.average_epochs * self.batches, 1.0)

    def __str__(self) -> str:
        sides = ", ".join(f"{side} px" for side in self.recipe.sides)
        return f"{self.photos} photos, {self.epochs} times each in views of {sides}: {self.steps} steps"
