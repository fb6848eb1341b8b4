"""Views to train on: a part of a photo, mirrored, in another light, drawn by seed, epoch and photo.

What a photo gets depends on nothing else, so that a training which was interrupted, or is shared
between processes, sees the same views.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor
from torch.nn import functional

from model.photo.views import square_boxes
from training.finetune.tune_settings import Light, Parts

Pixels = NDArray[np.uint8]
GREY = (0.299, 0.587, 0.114)  # Rec. 601 luma


@dataclass(frozen=True)
class Drawn:
    """One view: ``box`` left, top, width, height in px; mirrored or not; quarter turns; three factors of light."""

    box: tuple[int, int, int, int]
    mirrored: bool
    quarters: int
    light: tuple[float, float, float]


def draw_view(width: int, height: int, parts: Parts, light: Light, seed: Sequence[int]) -> Drawn:
    """Draw a view of a photo of this size; the same for the same seed."""
    random = np.random.default_rng(list(seed))
    share = random.uniform(parts.least_share, 1.0)
    shape = np.exp(random.uniform(-1.0, 1.0) * np.log(parts.most_stretch))
    wide = min(round((share * width * height * shape) ** 0.5), width)
    high = min(round((share * width * height / shape) ** 0.5), height)
    left, top = int(random.integers(width - wide + 1)), int(random.integers(height - high + 1))
    mirrored, quarters = bool(random.integers(2)), int(random.integers(4)) if parts.turned else 0
    factors = [float(random.uniform(1 - by, 1 + by)) for by in (light.brightness, light.contrast, light.saturation)]
    return Drawn((left, top, wide, high), mirrored, quarters, (factors[0], factors[1], factors[2]))


def whole_views(width: int, height: int) -> list[Drawn]:
    """The two views of a photo that span its short side, as in use."""
    boxes = [tuple(round(edge) for edge in box) for box in square_boxes(width, height)[:2]]
    return [Drawn((x, y, right - x, low - y), False, 0, (1.0, 1.0, 1.0)) for x, y, right, low in boxes]


def cut_views(photos: Sequence[Pixels], drawn: Sequence[Drawn], side: int, device: torch.device) -> Tensor:
    """The views, float (n, 3, side, side) in -1..1."""
    cut = []
    for pixels, view in zip(photos, drawn, strict=True):
        left, top, wide, high = view.box
        part = torch.from_numpy(pixels[top : top + high, left : left + wide].copy()).to(device)
        x = part.permute(2, 0, 1)[None].float()
        x = functional.interpolate(x, (side, side), mode="bilinear", antialias=True, align_corners=False)[0]
        x = x.flip(2) if view.mirrored else x
        cut.append(torch.rot90(x, view.quarters, (1, 2)) if view.quarters else x)
    light = torch.tensor([view.light for view in drawn], device=device)
    return relight(torch.stack(cut) / 255.0, light) * 2.0 - 1.0


def relight(x: Tensor, factors: Tensor) -> Tensor:
    """Another light. ``x`` float (n, 3, h, w) in 0..1; ``factors`` (n, 3) of brightness, contrast, saturation."""
    brightness, contrast, saturation = (factors[:, i, None, None, None] for i in range(3))
    x = (x * brightness).clamp(0, 1)
    grey = (x * torch.tensor(GREY, device=x.device)[None, :, None, None]).sum(dim=1, keepdim=True)
    middle = grey.mean(dim=(2, 3), keepdim=True)
    x = (middle + (x - middle) * contrast).clamp(0, 1)
    return (grey + (x - grey) * saturation).clamp(0, 1)


def mix(x: Tensor, targets: Tensor, share: float, seed: Sequence[int]) -> tuple[Tensor, Tensor]:
    """Mix each view with its neighbour: half the time blended, half the time a patch laid over it.

    ``x`` (n, 3, side, side), ``targets`` (n, classes); ``share`` of the batches is mixed at all.
    Zhang et al. 2018 (mixup), Yun et al. 2019 (CutMix).
    """
    random = np.random.default_rng(list(seed))
    if random.uniform() >= share or len(x) < 2:
        return x, targets
    other, others = x.roll(1, 0), targets.roll(1, 0)
    if random.integers(2):
        kept = float(random.beta(0.4, 0.4))
        x = x * kept + other * (1 - kept)
    else:
        side = x.shape[2]
        patch = round(side * (1 - float(random.beta(1.0, 1.0))) ** 0.5)
        top, left = (int(random.integers(side - patch + 1)) for _ in range(2))
        x = x.clone()
        x[:, :, top : top + patch, left : left + patch] = other[:, :, top : top + patch, left : left + patch]
        kept = 1 - (patch / side) ** 2
    return x, targets * kept + others * (1 - kept)
