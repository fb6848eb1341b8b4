"""Fine-tune a network on the user's photos: on the fit part first, then on all photos."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor
from torch.nn import functional

from model.photo.head import fit_statistics
from model.photo.views import whole_views
from training.data.dataset import Data
from training.data.split import PARTS
from training.finetune.augment import Pixels, Views, batches_of
from training.finetune.loop import Plan, fine_tune, log_shares
from training.finetune.network import TuningNet, load_shipped
from training.finetune.tuning_settings import FullTraining
from training.head.calibrate import class_weights
from training.head.fit import Learned
from training.recipes.recipe import FullRecipe

Progress = Callable[[str, int, int], None]
NOT_HELD_OUT = ("fit", "calibrate", "conformal")


@dataclass(frozen=True)
class FineTuning:
    """What is learned from, in step with ``pixels``, and the folder that keeps how far it has come."""

    data: Data
    pixels: Sequence[Pixels]
    learned: Learned
    recipe: FullRecipe
    folder: Path
    progress: Progress

    @property
    def classes(self) -> tuple[str, ...]:
        """The user's own classes, in the order of the linear head; all of them have photos in the fit part."""
        return tuple(sorted(set(self.data.labels)))

    def fit(self) -> TuningNet:
        """The network fine-tuned on the fit part, watched on the calibrate part."""
        net, fit = self._net(), self.data.part("fit")
        calibration = self.learned.classifier.calibration
        net.start_head(fit_statistics(fit.x, fit.labels), calibration.shrinkage, calibration.temperature)
        said = partial(self.progress, "tuning the network")
        tune(net, *self._photos("fit"), self.recipe.tune, self.recipe.seed, self.folder / "fit", self._watch(), said)
        return net

    def grow(self, net: TuningNet) -> TuningNet:
        """The same network, having learned on from all photos."""
        further, settings = self._net(), self.recipe.tune
        further.load_state_dict(net.state_dict())
        settings = settings.model_copy(update={"epochs": settings.grow_epochs, "rate": settings.grow_rate})
        said = partial(self.progress, "learning from all photos")
        tune(further, *self._photos(*PARTS), settings, self.recipe.seed + 1, self.folder / "grow", None, said)
        return further

    def _net(self) -> TuningNet:
        net = TuningNet(load_shipped(), len(self.classes), self.recipe.tune.kept_blocks)
        return net.to("cuda" if torch.cuda.is_available() else "cpu")

    def _photos(self, *parts: str) -> tuple[list[Pixels], NDArray[np.int64]]:
        """Photos of some parts, and the column of each."""
        rows, labels = np.flatnonzero(np.isin(self.data.parts, parts)).tolist(), self.data.labels
        return [self.pixels[i] for i in rows], np.array([self.classes.index(labels[i]) for i in rows])

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


def tune(
    net: TuningNet,
    photos: Sequence[Pixels],
    labels: NDArray[np.int64],
    settings: FullTraining,
    seed: int,
    folder: Path | None = None,
    watch: Callable[[TuningNet], float] | None = None,
    progress: Callable[[int, int], None] = lambda done, of: None,
) -> None:
    """Fine-tune a network on photos and the column of each, as the full recipe does; see fine_tune.

    ``progress`` gets the steps done, and how many there are.
    """
    device = net.linear.weight.device
    batches = batches_of(Views(photos, labels.tolist(), settings), settings, net.linear.out_features, device)
    shares, steps = log_shares(labels).to(device), settings.epochs * len(batches)
    plan = Plan(
        settings.epochs,
        settings.rate,
        settings.decay,
        settings.average_epochs * len(batches),
        seed,
        settings.look_every,
        settings.patience,
    )

    def loss(x: Tensor, labels: Tensor) -> Tensor:
        return functional.cross_entropy(net(x) + shares, labels, label_smoothing=settings.smoothing)

    fine_tune(net, batches, loss, plan, folder, watch, lambda done: progress(done, steps))


def digest_of(data: Data, recipe: FullRecipe) -> str:
    """Stands for all that a fine-tuning depends on: one that is the same goes on where it was."""
    digest = hashlib.sha256(recipe.model_dump_json().encode())
    for photo, part in zip(data.photos, data.parts, strict=True):
        digest.update(f"{part} {photo.label} {photo.sha256}\n".encode())
    return digest.hexdigest()[:16]
