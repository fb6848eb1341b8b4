"""The naive way to look at a photo, to be compared with: all of it decoded, torchvision, torch as it comes.

    python -m tests.benchmarks.naive PHOTO      from a cold start

The views, the weights, the head and the key are the same; only the way there is the plain one.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from PIL import Image, ImageOps
from torchvision.transforms import functional

from model.identify import Finding, Key, identify
from model.photo.evidence import Classifier, fuse
from model.photo.saved import STARTER
from model.photo.tuned import read_classifier
from model.photo.views import LARGE_SIDE, SIDE, square_boxes
from training.finetune.network import load_shipped

Stacks = tuple[torch.Tensor, ...]


class Naive:
    """The network in torch, eager, and the shipped head."""

    def __init__(self, threads: int, classifier: Classifier | None = None) -> None:
        torch.set_num_threads(threads)
        self.network = load_shipped()
        self.classifier = classifier or read_classifier(STARTER)

    def decode(self, file: Path) -> Image.Image:
        """Every pixel of the photo, upright."""
        return ImageOps.exif_transpose(Image.open(file)).convert("RGB")

    def views(self, picture: Image.Image) -> Stacks:
        """The same views as ours, each cut from the whole picture."""
        stacks = []
        for side, mirrored in ((SIDE, False), (LARGE_SIDE, True)):
            cut = []
            for left, top, right, bottom in square_boxes(*picture.size):
                box = round(top), round(left), round(bottom - top), round(right - left)
                view = functional.to_tensor(functional.resized_crop(picture, *box, [side, side], antialias=True))
                view = functional.normalize(view, [0.5] * 3, [0.5] * 3)
                cut.append(functional.hflip(view) if mirrored else view)
            stacks.append(torch.stack(cut))
        return tuple(stacks)

    def network_alone(self, stacks: Stacks) -> NDArray[np.float64]:
        """Square roots of the mean features."""
        with torch.no_grad():
            pooled = torch.cat([self.network(stack) for stack in stacks])
        return np.sqrt(pooled.numpy().mean(axis=0, dtype=np.float64))

    def answer(self, file: Path, key: Key) -> Finding:
        """From a file to a ranked answer."""
        x = self.network_alone(self.views(self.decode(file)))[None]
        probabilities = fuse(self.classifier.probabilities(x), self.classifier.calibration.dependence)
        return identify(key, {}, self.classifier.evidence(probabilities, ()))


if __name__ == "__main__":
    found = Naive(2).answer(Path(sys.argv[1]), Key())
    print(found.candidates[0].species, round(found.candidates[0].probability, 2))
