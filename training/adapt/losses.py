"""What the network that learns is asked for: names, knowing a photo again, and staying near what it was."""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional


def name_loss(logits: Tensor, targets: Tensor, smoothing: float) -> Tensor:
    """Mean cross entropy of ``logits`` (n, classes) to ``targets`` (n, classes), rows sum to 1, after smoothing."""
    targets = targets * (1 - smoothing) + smoothing / targets.shape[1]
    return -(targets * functional.log_softmax(logits, dim=1)).sum(dim=1).mean()


def again_loss(first: Tensor, second: Tensor, heat: float) -> Tensor:
    """Loss of finding each photo's other view among those of all photos (NT-Xent; Chen et al. 2020).

    ``first``, ``second`` float (n, numbers) of two views of the same n photos.
    """
    z = functional.normalize(torch.cat([first, second]).float(), dim=1)
    alike = z @ z.T / heat
    alike.fill_diagonal_(float("-inf"))
    photos = len(first)
    other = torch.arange(2 * photos, device=z.device).roll(photos)
    return functional.cross_entropy(alike, other)


def near_loss(roots: Tensor, teacher: Tensor) -> Tensor:
    """Squared distance to the teacher's features (n, features), as a share of their own spread over the batch."""
    spread = (teacher - teacher.mean(dim=0)).square().mean()
    return (roots - teacher).square().mean() / spread.clamp(min=1e-9)
