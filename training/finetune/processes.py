"""The processes that share a training: one, or those that torchrun started."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import torch
from torch import Tensor, distributed

CPU = torch.device("cpu")


@dataclass(frozen=True)
class World:
    """``rank`` of this process among ``size``, and where it computes."""

    rank: int = 0
    size: int = 1
    device: torch.device = CPU

    @property
    def first(self) -> bool:
        """Whether this process is the one that writes and talks."""
        return self.rank == 0

    def share(self, count: int) -> range:
        """Which of ``count`` pieces of work are this process's."""
        return range(self.rank, count, self.size)

    def add_up(self, vector: Tensor) -> None:
        """Replace a vector by its sum over all processes."""
        if self.size > 1:
            distributed.all_reduce(vector)

    def wait(self) -> None:
        """Until all processes are here."""
        if self.size > 1:
            distributed.barrier()


@contextmanager
def join_world() -> Iterator[World]:
    """The processes that torchrun started, or this one alone; on GPUs where there are any."""
    size, rank = int(os.environ.get("WORLD_SIZE", "1")), int(os.environ.get("RANK", "0"))
    on_gpu = torch.cuda.is_available()
    device = torch.device("cuda", int(os.environ.get("LOCAL_RANK", "0"))) if on_gpu else torch.device("cpu")
    if on_gpu:
        torch.cuda.set_device(device)
    if size == 1:
        yield World(device=device)
        return
    distributed.init_process_group("nccl" if on_gpu else "gloo")
    try:
        yield World(rank, size, device)
    finally:
        distributed.destroy_process_group()
