"""Fine-tune the network on labelled photos: the same weights for the same seed and threads, stopped or not."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor
from torch.nn import functional
from torch.nn.utils import parameters_to_vector, vector_to_parameters

from training.finetune.augment import cut_views, draw_view, mix
from training.finetune.checkpoint import Progress, read_progress
from training.finetune.network import TuningNet
from training.finetune.processes import World
from training.finetune.schedule import TunePlan

Pixels = NDArray[np.uint8]
SAVE_EVERY = 60.0  # seconds: what an interruption may cost, besides an epoch
LEAST_SHARE = 1e-6


@dataclass(frozen=True)
class Lesson:
    """What is learned from: ``photos`` uint8 (height, width, 3) each, and the right column of each."""

    photos: Sequence[Pixels]
    truth: NDArray[np.int64]
    classes: int

    def log_shares(self) -> Tensor:
        """ln share of each class among the photos: added to the logits, it makes classes weigh alike (Menon 2021)."""
        shares = np.bincount(self.truth, minlength=self.classes) / len(self.truth)
        return torch.from_numpy(np.log(np.maximum(shares, LEAST_SHARE))).float()


def tune(
    net: TuningNet,
    lesson: Lesson,
    plan: TunePlan,
    world: World | None = None,
    folder: Path | None = None,
    watch: Callable[[TuningNet], float] | None = None,
    progress: Callable[[int], None] = lambda steps: None,
) -> int:
    """Learn, and leave in ``net`` the running average of its weights, or the best that was watched; epochs done.

    ``folder`` keeps how far it has come; a training that finds its own progress there goes on
    with it, to the same end. ``watch`` gives the loss on photos that are not learned from, low
    is good; after ``patience`` looks without a better one it stops early. All processes of
    ``world`` must call this alike.
    """
    world = world or World()
    net.to(memory_format=torch.contiguous_format).to(world.device)
    learned = net.learned()
    # The parameters become parts of one vector, so that a step is a few sums over it.
    begun = Progress.begin(parameters_to_vector(learned).detach().clone())
    state = (read_progress(folder, begun.weights) if folder is not None else None) or begun
    vector_to_parameters(state.weights, learned)
    decayed = torch.cat([torch.full((p.numel(),), float(p.ndim > 1), device=world.device) for p in learned])
    log_shares, saved = lesson.log_shares().to(world.device), time.monotonic()
    while state.epoch < plan.epochs and state.worse < plan.recipe.patience:
        for batch, rows in enumerate(plan.order(state.epoch)):
            gradient = _gradient(net, learned, lesson, plan, world, (state.epoch, batch), rows, log_shares)
            _step(state, gradient, decayed, plan)
            progress(state.steps)
        state.epoch += 1
        if watch is not None and (state.epoch % plan.recipe.look_every == 0 or state.epoch == plan.epochs):
            _look(net, learned, state, watch)
        ended = state.epoch == plan.epochs or state.worse >= plan.recipe.patience
        if folder is not None and world.first and (ended or time.monotonic() - saved > SAVE_EVERY):
            state.save(folder)
            saved = time.monotonic()
    vector_to_parameters(state.average if watch is None else state.best, learned)
    world.wait()
    return state.epoch


def _gradient(
    net: TuningNet,
    learned: list[torch.nn.Parameter],
    lesson: Lesson,
    plan: TunePlan,
    world: World,
    at: tuple[int, int],
    rows: NDArray[np.int64],
    log_shares: Tensor,
) -> Tensor:
    """Gradient of one batch, float64: its shares are added up in numbers so long that their order does not show."""
    recipe = plan.recipe
    total = torch.zeros(sum(p.numel() for p in learned), dtype=torch.float64, device=world.device)
    shares = [rows[i : i + recipe.share_of_batch] for i in range(0, len(rows), recipe.share_of_batch)]
    for number in world.share(len(shares)):
        x, targets = _views(lesson, plan, world, at, shares[number])
        x, targets = mix(x, targets, recipe.mixed, (plan.seed, *at, number))
        logits = net(x.contiguous(memory_format=torch.channels_last)) + log_shares
        loss = -(targets * functional.log_softmax(logits, dim=1)).sum() / len(rows)
        total += torch.cat([part.reshape(-1) for part in torch.autograd.grad(loss, learned)])
    world.add_up(total)
    return total


def _views(
    lesson: Lesson, plan: TunePlan, world: World, at: tuple[int, int], rows: NDArray[np.int64]
) -> tuple[Tensor, Tensor]:
    """Views of some photos as this epoch and batch draw them, and what they show, smoothed."""
    recipe, photos = plan.recipe, [lesson.photos[row] for row in rows]
    drawn = [
        draw_view(p.shape[1], p.shape[0], recipe.parts, recipe.light, (plan.seed, *at, int(row)))
        for p, row in zip(photos, rows, strict=True)
    ]
    targets = functional.one_hot(torch.from_numpy(lesson.truth[rows]), lesson.classes).float().to(world.device)
    targets = targets * (1 - recipe.smoothing) + recipe.smoothing / lesson.classes
    return cut_views(photos, drawn, plan.side(at[0]), world.device), targets


@torch.no_grad()
def _step(state: Progress, gradient: Tensor, decayed: Tensor, plan: TunePlan) -> None:
    """One step of AdamW (Loshchilov and Hutter 2019), and the running average."""
    rate, part = plan.rate(state.steps), gradient.float()
    state.steps += 1
    state.first.mul_(0.9).add_(part, alpha=0.1)
    state.second.mul_(0.999).addcmul_(part, part, value=0.001)
    even = (state.second / (1 - 0.999**state.steps)).sqrt_().add_(1e-8)
    # Normalisations and offsets are not decayed.
    state.weights.mul_(1 - rate * plan.recipe.decay * decayed)
    state.weights.addcdiv_(state.first, even, value=-rate / (1 - 0.9**state.steps))
    kept = min(plan.remembered, state.steps / (state.steps + 10))
    state.average.mul_(kept).add_(state.weights, alpha=1 - kept)


def _look(
    net: TuningNet, learned: list[torch.nn.Parameter], state: Progress, watch: Callable[[TuningNet], float]
) -> None:
    """Look at the watched photos with the average of the weights."""
    vector_to_parameters(state.average, learned)
    loss = watch(net)
    vector_to_parameters(state.weights, learned)
    if loss < state.loss:
        state.best.copy_(state.average)
        state.loss, state.worse = loss, 0
    else:
        state.worse += 1
