"""Fine-tune a network on the user's photos: on the fit part first, then on all photos that are not held out."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor
from torch.nn import functional

from model.photo import fit_statistics
from model.photo.views import whole_views
from training.data.dataset import Data
from training.data.pixels import Pixels
from training.finetune.augment import Views, batches_of
from training.finetune.loop import Plan, fine_tune, log_shares
from training.finetune.network import TuningNet, load_shipped
from training.head.calibrate import class_weights
from training.head.fit import Learned
from training.recipes.recipe import FullRecipe

Progress = Callable[[str, int, int], None]
NOT_HELD_OUT = ("fit", "calibrate", "conformal")


@dataclass(frozen=True)
class FineTuning:
    """What is learned from, in step with ``pixels``, and the folder that keeps how far it has come."""

    data: Data
    pixels: Pixels
    learned: Learned
    recipe: FullRecipe
    folder: Path
    progress: Progress

    @property
    def classes(self) -> tuple[str, ...]:
        """The user's own classes, in the order of the linear head."""
        return tuple(sorted(set(self.data.part("fit").labels)))

    def fit(self) -> TuningNet:
        """The network fine-tuned on the fit part, watched on the calibrate part."""
        net, fit = self._net(), self.data.part("fit")
        calibration = self.learned.classifier.calibration
        net.start_head(fit_statistics(fit.x, fit.labels), calibration.shrinkage, calibration.temperature)
        tune = self.recipe.tune
        self._learn(net, "tuning the network", "fit", ("fit",), tune.epochs, tune.rate, self._watch())
        return net

    def grow(self, net: TuningNet) -> TuningNet:
        """The same network, having learned on from the other photos that are not held out."""
        further, tune = self._net(), self.recipe.tune
        further.load_state_dict(net.state_dict())
        self._learn(further, "learning from the rest", "grow", NOT_HELD_OUT, tune.grow_epochs, tune.grow_rate)
        return further

    def _net(self) -> TuningNet:
        net = TuningNet(load_shipped(), len(self.classes), self.recipe.tune.kept_blocks)
        return net.to("cuda" if torch.cuda.is_available() else "cpu").to(memory_format=torch.channels_last)

    def _learn(
        self,
        net: TuningNet,
        stage: str,
        folder: str,
        parts: tuple[str, ...],
        epochs: int,
        rate: float,
        watch: Callable[[TuningNet], float] | None = None,
    ) -> None:
        tune, device = self.recipe.tune, net.linear.weight.device
        photos, labels = self._photos(*parts)
        shares = log_shares(labels).to(device)
        batches = batches_of(Views(photos, labels.tolist(), tune), tune, len(self.classes), device)
        seed = self.recipe.seed + (len(NOT_HELD_OUT) if watch is None else 0)
        plan = Plan(epochs, rate, tune.decay, tune.average_epochs * len(batches), seed, tune.look_every, tune.patience)

        def loss(x: Tensor, labels: Tensor) -> Tensor:
            return functional.cross_entropy(net(x) + shares, labels, label_smoothing=tune.smoothing)

        of = epochs * len(batches)
        fine_tune(net, batches, loss, plan, self.folder / folder, watch, lambda done: self.progress(stage, done, of))

    def _photos(self, *parts: str) -> tuple[Pixels, NDArray[np.int64]]:
        """Photos of the classes in some parts, and the column of each."""
        labels, classes = self.data.labels, self.classes
        rows = [int(i) for i in np.flatnonzero(np.isin(self.data.parts, parts)) if labels[i] in classes]
        return [self.pixels[i] for i in rows], np.array([classes.index(labels[i]) for i in rows])

    def _watch(self) -> Callable[[TuningNet], float]:
        """Mean loss on the calibrate part, classes weighing alike."""
        photos, labels = self._photos("calibrate")
        weights, side = class_weights(labels), self.recipe.tune.side

        @torch.no_grad()
        def loss(net: TuningNet) -> float:
            total, device = 0.0, net.linear.weight.device
            for pixels, column, weight in zip(photos, labels, weights, strict=True):
                x = torch.from_numpy(whole_views(pixels, side)).to(device)
                total -= float(weight) * float(functional.log_softmax(net(x), dim=1).mean(dim=0)[int(column)])
            return total

        return loss


def digest_of(data: Data, recipe: FullRecipe) -> str:
    """Stands for all that a fine-tuning depends on: one that is the same goes on where it was."""
    digest = hashlib.sha256(recipe.model_dump_json().encode())
    for photo, part in zip(data.photos, data.parts, strict=True):
        digest.update(f"{part} {photo.label} {photo.sha256}\n".encode())
    return digest.hexdigest()[:16]
