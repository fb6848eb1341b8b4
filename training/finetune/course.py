"""A course of fine-tuning: on the fit part first, then on all photos that are not held out."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch.nn import functional

from model.photo import fit_statistics
from model.photo.backbone import load_backbone
from training.data.dataset import Data
from training.data.pixels import Pixels
from training.finetune.augment import cut_views, whole_views
from training.finetune.loop import Lesson, tune
from training.finetune.network import TuningNet
from training.finetune.processes import World
from training.finetune.schedule import TunePlan
from training.head.calibrate import class_weights
from training.head.fit import Learned
from training.recipes.recipe import FullRecipe

Progress = Callable[[str, int, int], None]
Weights = dict[str, NDArray[np.float16]]
NOT_HELD_OUT = ("fit", "calibrate", "conformal")


@dataclass(frozen=True)
class Course:
    """What is learned from, in step with ``pixels``, and the folder that keeps how far it has come."""

    data: Data
    pixels: Pixels
    learned: Learned
    recipe: FullRecipe
    world: World
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
        lesson, recipe = self._lesson("fit"), self.recipe.tune
        plan = TunePlan(len(lesson.photos), recipe.epochs, recipe, self.recipe.seed)
        said = stage(self.progress, "tuning the network", plan.steps)
        tune(net, lesson, plan, self.world, self.folder / "fit", self._watch(), said)
        return net

    def grow(self, net: TuningNet) -> TuningNet:
        """The same network, having learned on from the other photos that are not held out."""
        further = self._net()
        further.load_state_dict(net.state_dict())
        recipe = self.recipe.tune
        recipe = recipe.model_copy(update={"rate": recipe.grow_rate, "sides": recipe.sides[-1:]})
        lesson = self._lesson(*NOT_HELD_OUT)
        plan = TunePlan(len(lesson.photos), recipe.grow_epochs, recipe, self.recipe.seed + 1)
        said = stage(self.progress, "learning from the rest", plan.steps)
        tune(further, lesson, plan, self.world, self.folder / "grow", None, said)
        return further

    def _net(self) -> TuningNet:
        torch.manual_seed(self.recipe.seed)
        return TuningNet(load_backbone(), len(self.classes), self.recipe.tune.kept_blocks)

    def _lesson(self, *parts: str) -> Lesson:
        labels, classes = self.data.labels, self.classes
        rows = [int(i) for i in np.flatnonzero(np.isin(self.data.parts, parts)) if labels[i] in classes]
        truth = np.array([classes.index(labels[i]) for i in rows])
        return Lesson([self.pixels[i] for i in rows], truth, len(classes))

    def _watch(self) -> Callable[[TuningNet], float]:
        """Mean loss on the calibrate part, classes weighing alike."""
        lesson, side = self._lesson("calibrate"), self.recipe.tune.sides[-1]
        weights = class_weights(lesson.truth)

        def loss(net: TuningNet) -> float:
            total = 0.0
            with torch.no_grad():
                for pixels, column, weight in zip(lesson.photos, lesson.truth, weights, strict=True):
                    x = cut_views([pixels] * 2, whole_views(pixels.shape[1], pixels.shape[0]), side, self.world.device)
                    total -= float(weight) * float(functional.log_softmax(net(x), dim=1).mean(dim=0)[int(column)])
            return total

        return loss


def weights_of(net: TuningNet) -> Weights:
    """What differs from the shipped network, as it is saved: 16-bit floats by name."""
    shipped = load_backbone().state_dict()
    found = {name: tensor.detach().cpu() for name, tensor in net.backbone.state_dict().items()}
    return {n: t.numpy().astype(np.float16) for n, t in found.items() if not torch.equal(t, shipped[n])}


def digest_of(data: Data, recipe: FullRecipe) -> str:
    """Stands for all that a course depends on: a course that is the same goes on where it was."""
    digest = hashlib.sha256(recipe.model_dump_json().encode())
    for photo, part in zip(data.photos, data.parts, strict=True):
        digest.update(f"{part} {photo.label} {photo.sha256}\n".encode())
    return digest.hexdigest()[:16]


def stage(progress: Progress, name: str, of: int) -> Callable[[int], None]:
    """Progress of one stage, from how much of it is done."""
    return lambda done: progress(name, done, of)
