"""Views to train on: a part of a photo, mirrored, in another light, and batches of them, some mixed with each other."""

from __future__ import annotations

import os
from collections.abc import Sequence

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor
from torch.utils.data import DataLoader, Dataset, default_collate
from torchvision.transforms import v2

from training.finetune.tuning_settings import Augmentation, FullTraining

Pixels = NDArray[np.uint8]
Batch = tuple[Tensor, Tensor]
# Half of the mixed batches are blended (Zhang et al. 2018), half have a patch laid over (Yun et al. 2019): alpha of the
# beta distribution that the share is drawn from.
BLENDED, PATCHED = 0.4, 1.0


class Views(Dataset[Batch]):
    """One view of each photo uint8 (height, width, 3), another one each time: float (3, side, side) in -1..1."""

    def __init__(self, photos: Sequence[Pixels], labels: Sequence[int], settings: FullTraining) -> None:
        self.photos, self.labels = photos, labels
        self.transform = transform_of(settings.augment, settings.side)

    def __len__(self) -> int:
        return len(self.photos)

    def __getitem__(self, row: int) -> Batch:
        photo = torch.from_numpy(np.array(self.photos[row])).permute(2, 0, 1)
        return self.transform(photo), torch.tensor(self.labels[row])


class Mixing:
    """Make a batch of rows of Views, and mix it now and then.

    Gives views (n, 3, side, side) and labels, int (n,), or of a mixed batch their shares, float (n, classes).
    """

    def __init__(self, share: float, classes: int) -> None:
        ways = [v2.MixUp(alpha=BLENDED, num_classes=classes), v2.CutMix(alpha=PATCHED, num_classes=classes)]
        self.mix = v2.RandomApply([v2.RandomChoice(ways)], p=share)

    def __call__(self, rows: list[Batch]) -> Batch:
        mixed: Batch = self.mix(*default_collate(rows))
        return mixed


def transform_of(augment: Augmentation, side: int) -> v2.Compose:
    """What makes a view float (3, side, side) in -1..1 of a photo uint8 (3, height, width)."""
    share, stretch = (augment.least_share, 1.0), (1 / augment.most_stretch, augment.most_stretch)
    return v2.Compose(
        [
            v2.RandomResizedCrop(side, scale=share, ratio=stretch, antialias=True),
            v2.RandomHorizontalFlip(),
            v2.RandomVerticalFlip(0.5 if augment.turned else 0.0),
            v2.ColorJitter(augment.brightness, augment.contrast, augment.saturation),
            v2.RandomApply([v2.GaussianBlur(3)], p=augment.softened),
            v2.ToDtype(torch.float32, scale=True),
            v2.Normalize([0.5] * 3, [0.5] * 3),
        ]
    )


def batches_of(data: Views, settings: FullTraining, classes: int, device: torch.device) -> DataLoader[Batch]:
    """Batches of all photos in an order drawn anew each time."""
    return DataLoader(
        data,
        settings.batch,
        shuffle=True,
        collate_fn=Mixing(settings.augment.mixed, classes),
        # A GPU waits for views; without one, the processors that make them learn as well.
        num_workers=min(os.cpu_count() or 1, 16) if device.type == "cuda" else 0,
    )
