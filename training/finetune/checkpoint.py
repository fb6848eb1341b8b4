"""A fine-tuning as far as it has got: on the disk, so that it can be interrupted and gone on with."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import torch
from safetensors import SafetensorError
from safetensors.torch import load_file, save
from torch import Tensor

from model.storage import replace_file

FILE = "tuning.safetensors"
VECTORS = ("weights", "average", "first", "second", "best")


@dataclass
class Progress:
    """What is learned, each as one vector float (weights,), and counts.

    ``average`` of the weights over the latest steps; ``first`` and ``second`` moments of AdamW; ``best``: the
    average that did best on the photos that are watched, with its ``loss``; ``worse`` counts the
    looks at them since. ``epoch`` and ``steps`` are done.
    """

    weights: Tensor
    average: Tensor
    first: Tensor
    second: Tensor
    best: Tensor
    epoch: int = 0
    steps: int = 0
    worse: int = 0
    loss: float = float("inf")

    @classmethod
    def begin(cls, weights: Tensor) -> Progress:
        """Nothing learned yet. ``weights`` are changed in place from here on."""
        none = torch.zeros_like(weights)
        return cls(weights, weights.clone(), none, none.clone(), weights.clone())

    def save(self, folder: Path) -> None:
        """Write all of it, or leave what was there. Raises OSError."""
        folder.mkdir(parents=True, exist_ok=True)
        tensors = {name: getattr(self, name) for name in VECTORS}
        counts = [self.epoch, self.steps, self.worse, self.loss]
        replace_file(folder / FILE, save(tensors | {"counts": torch.tensor(counts, dtype=torch.float64)}))


def read_progress(folder: Path, like: Tensor) -> Progress | None:
    """What was saved in a folder; None where there is nothing for weights ``like`` these that can be read."""
    try:
        tensors = load_file(folder / FILE, device=str(like.device))
    except (OSError, SafetensorError):
        return None
    if {*VECTORS, "counts"} != set(tensors) or any(tensors[name].shape != like.shape for name in VECTORS):
        return None
    epoch, steps, worse, loss = tensors.pop("counts").tolist()
    return Progress(**tensors, epoch=int(epoch), steps=int(steps), worse=int(worse), loss=float(loss))
