"""Adapt a network by one trial: a few hundred steps on views of labelled photos, and the average of its weights."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from copy import deepcopy
from dataclasses import dataclass

import numpy as np
import torch
from numpy.typing import NDArray
from sklearn.cluster import KMeans
from torch import Generator, Tensor
from torch.nn import functional
from torch.optim.swa_utils import AveragedModel, get_ema_multi_avg_fn

from model.photo import fit_statistics
from model.photo.backbone import Lite0
from training.adapt.losses import again_loss, name_loss, near_loss
from training.adapt.nets import State, Student, state_of
from training.adapt.pack import DRAWN, THING, Pack
from training.adapt.stock import Stock, learning_views, used_views
from training.adapt.trial import Trial
from training.finetune.augment import mix

START_SHRINKAGE, START_TEMPERATURE = 0.2, 5.0  # of the closed-form head that learning begins from
WARM_UP = 0.05  # share of the steps over which the rate rises
LOOKED_AT_ONCE = 32  # pictures


@dataclass(frozen=True)
class Lesson:
    """What is learned from: ``rows`` of the stock, ``truth`` their class, int (rows,), and which are ``drawn``."""

    rows: NDArray[np.int64]
    truth: NDArray[np.int64]
    drawn: NDArray[np.bool_]

    @property
    def classes(self) -> int:
        """How many there are."""
        return int(self.truth.max()) + 1

    def chances(self, drawings: float, evened: float) -> Tensor:
        """How often each row is drawn, float (rows,), sum 1: drawings together ``drawings`` of the time."""
        counts = np.bincount(self.truth)[self.truth]
        weights = counts.astype(np.float64) ** -evened
        for kind, share in ((~self.drawn, 1 - drawings), (self.drawn, drawings)):
            if kind.any():
                weights[kind] *= share / weights[kind].sum()
        return torch.from_numpy(weights / weights.sum())

    def log_shares(self, chances: Tensor) -> Tensor:
        """ln share of each class among what is drawn: added to logits, it makes classes weigh alike (Menon 2021)."""
        return torch.from_numpy(np.bincount(self.truth, chances.numpy())).log().float()


def lesson_of(pack: Pack, trial: Trial, left_out: frozenset[str]) -> Lesson:
    """The fit part's photos but for the classes left out, and drawings where the trial has them."""
    sources = {THING} if trial.drawings else {THING, DRAWN}
    rows = [(i, row) for i, row in enumerate(pack.rows) if row.part == "fit" and row.source not in sources]
    kept = [i for i, row in rows if row.label not in left_out]
    names = sorted({pack.rows[i].label for i in kept})
    truth = np.array([names.index(pack.rows[i].label) for i in kept])
    return Lesson(np.array(kept), truth, np.array([pack.rows[i].source == DRAWN for i in kept]))


def adapt(
    stock: Stock, lesson: Lesson, trial: Trial, start: Lite0, seed: int, progress: Callable[[int, float], None]
) -> State:
    """Learn, and give the running average of the weights; the same for the same seed on one machine's CPU.

    ``start`` is left as it is. ``progress`` gets the steps done and the loss. ``stock.device`` learns.
    """
    if not trial.steps:
        return state_of(start)
    torch.manual_seed(seed)
    teacher = deepcopy(start).to(stock.device).eval()
    z = roots_of(teacher, stock, lesson.rows, (trial.side,), 1)
    lesson = clustered(lesson, z, trial.clusters, seed)
    student = Student(deepcopy(start), lesson.classes, trial.kept_blocks)
    student.start_head(fit_statistics(z, [f"{c:05d}" for c in lesson.truth]), START_SHRINKAGE, START_TEMPERATURE)
    student.to(stock.device).to(memory_format=torch.channels_last)
    if trial.normalisations == "learned":
        student.learn_normalisations()
    remembered = get_ema_multi_avg_fn(1 - 1 / trial.average_steps)  # type: ignore[no-untyped-call]
    average = AveragedModel(student, multi_avg_fn=remembered, use_buffers=True)
    _steps(student, teacher, average, stock, lesson, trial, seed, progress)
    student.load_state_dict(average.module.state_dict())
    return state_of(student.backbone)


def _steps(
    student: Student,
    teacher: Lite0,
    average: AveragedModel,
    stock: Stock,
    lesson: Lesson,
    trial: Trial,
    seed: int,
    progress: Callable[[int, float], None],
) -> None:
    chances = lesson.chances(trial.drawings, trial.evened)
    shares = lesson.log_shares(chances).to(stock.device)
    every, truth = torch.from_numpy(lesson.rows).to(stock.device), torch.from_numpy(lesson.truth).to(stock.device)
    chance, order = Generator(stock.device).manual_seed(seed), Generator().manual_seed(seed)
    optimiser = _optimiser(student, trial, stock.device)
    rate = torch.optim.lr_scheduler.OneCycleLR(
        optimiser, trial.rate, total_steps=trial.steps + 1, pct_start=WARM_UP, cycle_momentum=False
    )
    for step in range(trial.steps):
        picked = torch.multinomial(chances, trial.batch, replacement=True, generator=order).to(stock.device)
        x = torch.cat([learning_views(stock, every[picked], trial, chance) for _ in range(trial.views)])
        targets = functional.one_hot(truth[picked].repeat(trial.views), lesson.classes).float()
        x, targets = mix(x, targets, trial.mixed, (seed, step))
        x = x.contiguous(memory_format=torch.channels_last)
        loss = _loss(student, teacher, x, targets, shares, trial)
        optimiser.zero_grad()
        torch.autograd.backward(loss)
        optimiser.step()
        rate.step()
        average.update_parameters(student)
        if step % 50 == 49 or step + 1 == trial.steps:
            progress(step + 1, float(loss.detach()))


def _loss(student: Student, teacher: Lite0, x: Tensor, targets: Tensor, shares: Tensor, trial: Trial) -> Tensor:
    # The heads' numbers are large beside their differences: they stay long.
    with _shorter(x.device, torch.bfloat16):
        roots = student.roots(x)
    loss = torch.zeros((), device=x.device)
    if trial.labelled:
        loss = loss + trial.labelled * name_loss(student.linear(roots) + shares, targets, trial.smoothing)
    if trial.instances:
        first, second = student.known_again(roots).chunk(2)
        loss = loss + trial.instances * again_loss(first, second, trial.heat)
    if trial.near:
        with torch.no_grad(), _shorter(x.device, torch.bfloat16):
            before = teacher.features(x).float().sqrt()
        loss = loss + trial.near * near_loss(roots, before)
    return loss


def _optimiser(student: Student, trial: Trial, device: torch.device) -> torch.optim.Optimizer:
    """AdamW; normalisations and offsets are not decayed."""
    learned = student.learned()
    groups = [
        {"params": [p for p in learned if p.ndim > 1], "weight_decay": trial.decay},
        {"params": [p for p in learned if p.ndim <= 1], "weight_decay": 0.0},
    ]
    return torch.optim.AdamW(groups, lr=trial.rate, fused=device.type == "cuda")


def _shorter(device: torch.device, kind: torch.dtype) -> AbstractContextManager[object]:
    """Shorter numbers where the device is quicker with them: bfloat16 to learn, float16, which is finer, to look."""
    return torch.autocast(device.type, kind, enabled=device.type == "cuda")


@torch.no_grad()
def roots_of(
    net: Lite0, stock: Stock, rows: NDArray[np.int64], sides: tuple[int, ...], parts: int
) -> NDArray[np.float64]:
    """Features as in use, float (rows, 1280): roots of what is pooled over views; every second size is mirrored."""
    found = []
    net.to(memory_format=torch.channels_last)
    for begin in range(0, len(rows), LOOKED_AT_ONCE):
        # Always as many, which spares a GPU looking for the quickest way anew.
        some = torch.from_numpy(np.resize(rows[begin : begin + LOOKED_AT_ONCE], LOOKED_AT_ONCE)).to(stock.device)
        total = torch.zeros((len(some), 1), device=stock.device)
        for number, side in enumerate(sides):
            x = used_views(stock, some, parts, side, mirrored=number % 2 == 1)
            with _shorter(stock.device, torch.float16):
                pooled = net.features(x.contiguous(memory_format=torch.channels_last))
            total = total + pooled.float().view(len(some), parts, -1).mean(dim=1) / len(sides)
        found.append(total.sqrt().cpu())
    return torch.cat(found)[: len(rows)].numpy().astype(np.float64)


def clustered(lesson: Lesson, z: NDArray[np.float64], clusters: int, seed: int) -> Lesson:
    """The same with every class of photos parted into kinds by features ``z`` (rows, features)."""
    if clusters == 1:
        return lesson
    truth = np.zeros_like(lesson.truth)
    used = 0
    for number in range(lesson.classes):
        here = np.flatnonzero(lesson.truth == number)
        kinds = 1 if lesson.drawn[here].all() else min(clusters, len(here))
        truth[here] = used + KMeans(kinds, n_init=3, random_state=seed).fit_predict(z[here])
        used += kinds
    return Lesson(lesson.rows, truth, lesson.drawn)
