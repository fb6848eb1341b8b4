"""Pictures on the device that learns, all at once, and views of them cut there by the batch."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import torch
from torch import Generator, Tensor
from torch.nn import functional

from model.photo.views import square_boxes
from training.adapt.pack import Pack
from training.adapt.trial import Trial
from training.finetune.augment import relight


@dataclass(frozen=True)
class Stock:
    """``pixels`` uint8 (pictures, 3, side, side), stretched to squares; ``shapes`` (pictures, 2): width and height."""

    pixels: Tensor
    shapes: Tensor

    @property
    def device(self) -> torch.device:
        """Where the pictures are."""
        return self.pixels.device

    def cut(self, rows: Tensor, boxes: Tensor, flips: Tensor, quarters: Tensor, side: int) -> Tensor:
        """Views, float (n, 3, side, side) in 0..1.

        ``boxes`` float (n, 4): left, top, width, height as shares of the picture; ``flips`` bool and ``quarters``
        int (n,): mirrored or not, and turned by quarters.
        """
        turn = quarters.float() * (torch.pi / 2)
        cos, sin, mirror = turn.cos(), turn.sin(), 1 - 2 * flips.float()
        middle = (boxes[:, :2] + boxes[:, 2:] / 2) * 2 - 1
        half = boxes[:, 2:]
        across = torch.stack([half[:, 0] * cos * mirror, -half[:, 0] * sin, middle[:, 0]], dim=1)
        down = torch.stack([half[:, 1] * sin * mirror, half[:, 1] * cos, middle[:, 1]], dim=1)
        grid = functional.affine_grid(torch.stack([across, down], dim=1), [len(rows), 3, side, side], False)
        whole = self.pixels[rows].float() / 255.0
        return functional.grid_sample(whole, grid, "bilinear", "border", False)


def stock_of(pack: Pack, side: int, device: torch.device, workers: int | None = None) -> Stock:
    """Open all pictures of a pack, in order."""
    pixels = torch.empty((len(pack.rows), 3, side, side), dtype=torch.uint8)
    shapes = torch.empty((len(pack.rows), 2))
    for row, picture in enumerate(pack.pictures(workers)):
        shapes[row] = torch.tensor([picture.shape[1], picture.shape[0]])
        square = cv2.resize(picture, (side, side), interpolation=cv2.INTER_LINEAR)
        pixels[row] = torch.from_numpy(square).permute(2, 0, 1)
    return Stock(pixels.to(device), shapes.to(device))


def learning_views(stock: Stock, rows: Tensor, trial: Trial, chance: Generator) -> Tensor:
    """One view of each picture, as the trial draws it: float (n, 3, side, side) in -1..1."""
    count, device = len(rows), stock.device

    def throw(low: float, high: float, *shape: int) -> Tensor:
        return torch.rand((count, *shape), generator=chance, device=device) * (high - low) + low

    shapes = stock.shapes[rows]
    area = throw(trial.parts.least_share, 1.0) * shapes.prod(dim=1)
    shape = torch.exp(throw(-1.0, 1.0) * float(np.log(trial.parts.most_stretch)))
    sizes = torch.stack([(area * shape).sqrt(), (area / shape).sqrt()], dim=1)
    spans = (sizes / shapes).clamp(max=1.0)
    boxes = torch.cat([throw(0.0, 1.0, 2) * (1 - spans), spans], dim=1)
    quarters = throw(0.0, 4.0).floor() if trial.parts.turned else torch.zeros(count, device=device)
    x = stock.cut(rows, boxes, throw(0.0, 1.0) < 0.5, quarters, trial.side)
    soft = functional.avg_pool2d(x, 3, 1, 1, count_include_pad=False)
    x = torch.where((throw(0.0, 1.0) < trial.softened)[:, None, None, None], soft, x)
    light = trial.light
    factors = [throw(1 - by, 1 + by) for by in (light.brightness, light.contrast, light.saturation)]
    return relight(x, torch.stack(factors, dim=1)) * 2.0 - 1.0


def used_views(stock: Stock, rows: Tensor, parts: int, side: int, mirrored: bool) -> Tensor:
    """The first ``parts`` views of each picture as in use (model/photo/views.py), one picture after the other."""
    boxes = []
    for width, height in stock.shapes[rows].tolist():
        for left, top, right, low in square_boxes(int(width), int(height))[:parts]:
            boxes.append((left / width, top / height, (right - left) / width, (low - top) / height))
    each = rows.repeat_interleave(parts)
    flips = torch.full((len(each),), mirrored, device=stock.device)
    none = torch.zeros(len(each), device=stock.device)
    return stock.cut(each, torch.tensor(boxes, device=stock.device), flips, none, side) * 2.0 - 1.0
