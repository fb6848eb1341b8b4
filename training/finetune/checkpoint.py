"""A fine-tuning as far as it has got: on the disk, so that it can be interrupted and resumed."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import torch
from safetensors import SafetensorError
from safetensors.torch import load_file, save
from torch import Tensor, nn
from torch.optim import Optimizer
from torch.optim.swa_utils import AveragedModel

from model.storage import replace_file

FILE = "tuning.safetensors"
State = dict[str, Tensor]


@dataclass
class Checkpoint:
    """What is learned, and counts.

    ``average`` of the weights over the latest steps; ``best``: the average that did best on the photos that are
    watched, with its ``loss``; ``worse`` counts the looks at them since. ``epochs`` and ``steps`` are done.
    """

    net: nn.Module
    average: AveragedModel
    optimiser: Optimizer
    best: State = field(default_factory=dict)
    epochs: int = 0
    steps: int = 0
    worse: int = 0
    loss: float = float("inf")

    def save(self, folder: Path) -> None:
        """Write all of it, or leave what was there. Raises OSError."""
        moments = self.optimiser.state_dict()["state"]
        parts = {
            "net": self.net.state_dict(),
            "average": self.average.state_dict(),
            "best": self.best,
            **{f"optimiser.{number}": tensors for number, tensors in moments.items()},
        }
        tensors = {f"{part}/{name}": t.contiguous() for part, named in parts.items() for name, t in named.items()}
        counts = torch.tensor([self.epochs, self.steps, self.worse, self.loss], dtype=torch.float64)
        folder.mkdir(parents=True, exist_ok=True)
        replace_file(folder / FILE, save(tensors | {"counts": counts}))

    def resume(self, folder: Path) -> None:
        """Go on with what was saved in a folder, if there is anything that can be read and is of this network."""
        try:
            tensors = load_file(folder / FILE, device=str(next(self.net.parameters()).device))
            counts = tensors.pop("counts").tolist()
            parts: dict[str, State] = {}
            for name, tensor in tensors.items():
                part, _, rest = name.partition("/")
                parts.setdefault(part, {})[rest] = tensor
            self.net.load_state_dict(parts.pop("net"))
            self.average.load_state_dict(parts.pop("average"))
        except (OSError, SafetensorError, KeyError, ValueError, RuntimeError):
            return
        self.best = parts.pop("best", {})
        moments = {int(part.removeprefix("optimiser.")): tensors for part, tensors in parts.items()}
        self.optimiser.load_state_dict(self.optimiser.state_dict() | {"state": moments})
        self.epochs, self.steps, self.worse = (int(count) for count in counts[:3])
        self.loss = counts[3]
