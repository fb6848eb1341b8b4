"""EfficientNet-Lite0 for training: the network that turns a view into 1,280 features, in torch.

Architecture: Tan and Le (2019), lite variant without squeeze-excitation and with ReLU6. Serving
runs the same network as a graph (model/photo/graph.py) and never imports this module.
"""

from __future__ import annotations

import torch
from torch import Tensor, nn
from torch.nn import functional

from model.photo.weights import FEATURES, STAGES, load_weights


class SameConv2d(nn.Conv2d):
    """Convolution padded as the weights were trained: the odd pixel goes right and below."""

    def forward(self, input: Tensor) -> Tensor:
        """Map (n, in, h, w) to (n, out, ceil(h / stride), ceil(w / stride))."""
        pads = []
        for size, kernel, stride in zip(input.shape[:-3:-1], self.kernel_size[::-1], self.stride[::-1], strict=True):
            whole = max((-(-size // stride) - 1) * stride + kernel - size, 0)
            pads += [whole // 2, whole - whole // 2]
        padded: Tensor = self._conv_forward(functional.pad(input, pads), self.weight, self.bias)
        return padded


def _norm(channels: int, act: bool = True) -> nn.Sequential:
    layers: list[nn.Module] = [nn.BatchNorm2d(channels, eps=1e-3)]
    if act:
        layers.append(nn.ReLU6(inplace=True))
    return nn.Sequential(*layers)


def _conv(cin: int, cout: int, kernel: int = 1, stride: int = 1, groups: int = 1) -> nn.Conv2d:
    kind = SameConv2d if stride > 1 else nn.Conv2d
    return kind(cin, cout, kernel, stride, padding=0 if stride > 1 else kernel // 2, groups=groups, bias=False)


class Block(nn.Module):
    """Inverted residual: widen, filter each channel, narrow; added to its input where shapes agree."""

    def __init__(self, cin: int, cout: int, expand: int, kernel: int, stride: int) -> None:
        super().__init__()
        wide = cin * expand
        steps: list[nn.Module] = []
        if expand > 1:
            steps += [_conv(cin, wide), _norm(wide)]
        steps += [_conv(wide, wide, kernel, stride, groups=wide), _norm(wide)]
        steps += [_conv(wide, cout), _norm(cout, act=False)]
        self.steps = nn.Sequential(*steps)
        self.adds_input = stride == 1 and cin == cout

    def forward(self, x: Tensor) -> Tensor:
        """Map (n, cin, h, w) to (n, cout, h / stride, w / stride)."""
        y: Tensor = self.steps(x)
        return y + x if self.adds_input else y


class Lite0(nn.Module):
    """The network up to its pooled features, and the ImageNet classifier that came with it."""

    def __init__(self, classes: int = 1000) -> None:
        super().__init__()
        self.stem = nn.Sequential(_conv(3, 32, 3, 2), _norm(32))
        blocks, cin = [], 32
        for expand, kernel, stride, cout, repeats in STAGES:
            for repeat in range(repeats):
                blocks.append(Block(cin, cout, expand, kernel, stride if repeat == 0 else 1))
                cin = cout
        self.blocks = nn.Sequential(*blocks)
        self.head = nn.Sequential(_conv(cin, FEATURES), _norm(FEATURES))
        self.classifier: nn.Module = nn.Linear(FEATURES, classes)

    def features(self, x: Tensor) -> Tensor:
        """Pooled features, float (n, 1280), never negative, of views (n, 3, h, w) in -1..1."""
        pooled: Tensor = self.head(self.blocks(self.stem(x))).mean(dim=(2, 3))
        return pooled

    def forward(self, x: Tensor) -> Tensor:
        """ImageNet logits, (n, classes)."""
        logits: Tensor = self.classifier(self.features(x))
        return logits


def load_backbone() -> Lite0:
    """The shipped backbone, ready to evaluate, without a classifier. Raises ModelError as load_weights does."""
    net = Lite0()
    net.classifier = nn.Identity()
    # Counts of batches are not shipped: they play no part once learning is over.
    net.load_state_dict({name: torch.from_numpy(array) for name, array in load_weights().items()}, strict=False)
    return net.eval().to(memory_format=torch.channels_last)
