"""Fine-tune a network: AdamW, one cycle of the learning rate, and the running average of the weights."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor
from torch.optim.lr_scheduler import OneCycleLR
from torch.optim.swa_utils import AveragedModel
from torch.utils.data import DataLoader

from training.finetune.augment import Batch
from training.finetune.checkpoint import Checkpoint
from training.finetune.network import TuningNet

SAVE_EVERY = 60.0  # seconds: what an interruption may cost, besides an epoch
WARM_UP = 0.05  # share of the steps over which the rate rises
FEWEST_STEPS = 40  # that a cycle is made of; a shorter training ends before it does


@dataclass(frozen=True)
class Plan:
    """Largest ``rate``, weight ``decay``, and how many steps the running average goes back.

    The photos that are watched are looked at every ``look_every`` epochs; after ``patience`` looks without a better
    one it stops early.
    """

    epochs: int
    rate: float
    decay: float
    average_steps: float
    seed: int
    look_every: int = 1
    patience: int = 1


def fine_tune(
    net: TuningNet,
    batches: DataLoader[Batch],
    loss: Callable[[Tensor, Tensor], Tensor],
    plan: Plan,
    folder: Path | None = None,
    watch: Callable[[TuningNet], float] | None = None,
    progress: Callable[[int], None] = lambda steps: None,
) -> None:
    """Learn, and leave in ``net`` the running average of its weights, or the best that was watched.

    ``loss`` of views (n, 3, side, side) and labels as ``batches`` have them. ``folder`` keeps how far it has come; a
    training that finds its own progress there goes on with it. ``watch`` gives the loss of photos that are not learned
    from. ``progress`` gets the steps done.
    """
    device = net.to(memory_format=torch.channels_last).linear.weight.device
    optimiser = _optimiser(net, plan)
    state = Checkpoint(net, AveragedModel(net, avg_fn=_averaging(plan.average_steps)), optimiser)
    if folder is not None:
        state.resume(folder)
    schedule = _schedule(optimiser, plan, plan.epochs * len(batches), state.steps)
    saved = time.monotonic()
    while state.epochs < plan.epochs and state.worse < plan.patience:
        torch.manual_seed(plan.seed + state.epochs)  # a resumed training sees what it would have seen
        for x, labels in batches:
            optimiser.zero_grad()
            torch.autograd.backward(loss(x.to(device, memory_format=torch.channels_last), labels.to(device)))
            optimiser.step()
            schedule.step()
            state.average.update_parameters(net)
            state.steps += 1
            progress(state.steps)
        state.epochs += 1
        if watch is not None and (state.epochs % plan.look_every == 0 or state.epochs == plan.epochs):
            _look(state, watch)
        ended = state.epochs == plan.epochs or state.worse >= plan.patience
        if folder is not None and (ended or time.monotonic() - saved > SAVE_EVERY):
            state.save(folder)
            saved = time.monotonic()
    net.load_state_dict(state.best or state.average.module.state_dict())


def log_shares(labels: NDArray[np.int64]) -> Tensor:
    """ln share of each class among what is learned: added to the logits, it makes classes weigh alike (Menon 2021).

    >>> log_shares(np.array([0, 0, 0, 1])).exp()
    tensor([0.7500, 0.2500])
    """
    counts = np.bincount(labels)
    return torch.from_numpy(np.log(counts / counts.sum())).float()


def _optimiser(net: TuningNet, plan: Plan) -> torch.optim.AdamW:
    """AdamW (Loshchilov and Hutter 2019); normalisations and offsets are not decayed."""
    learned = [p for p in net.parameters() if p.requires_grad]
    groups = [
        {"params": [p for p in learned if p.ndim > 1], "weight_decay": plan.decay},
        {"params": [p for p in learned if p.ndim <= 1], "weight_decay": 0.0},
    ]
    return torch.optim.AdamW(groups, plan.rate)


def _schedule(optimiser: torch.optim.Optimizer, plan: Plan, steps: int, done: int) -> OneCycleLR:
    def cycle(last: int) -> OneCycleLR:
        total = max(steps, FEWEST_STEPS)
        return OneCycleLR(optimiser, plan.rate, total, pct_start=WARM_UP, cycle_momentum=False, last_epoch=last)

    begun = cycle(-1)
    return cycle(done - 1) if done else begun


def _averaging(steps: float) -> Callable[[Tensor, Tensor, Tensor | int], Tensor]:
    """The running average goes back this many steps, and fewer at first."""

    def averaged(average: Tensor, new: Tensor, count: Tensor | int) -> Tensor:
        return torch.lerp(average, new, max(1 / max(steps, 1.0), 10 / (int(count) + 11)))

    return averaged


def _look(state: Checkpoint, watch: Callable[[TuningNet], float]) -> None:
    """Look at the watched photos with the average of the weights."""
    average = state.average.module
    assert isinstance(average, TuningNet)
    loss = watch(average)
    if loss < state.loss:
        state.best = {name: tensor.clone() for name, tensor in average.state_dict().items()}
        state.loss, state.worse = loss, 0
    else:
        state.worse += 1
