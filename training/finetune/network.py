"""EfficientNet-Lite0 in torch, the head that it is fine-tuned with, and the ONNX file that it becomes.

Architecture: Tan and Le (2019), lite variant without squeeze-excitation and with ReLU6. Serving runs the exported
file (model/photo/extract.py) and never imports this module.
"""

from __future__ import annotations

import io

import numpy as np
import onnx
import torch
from numpy.typing import NDArray
from torch import Tensor, nn
from torch.nn import functional

from model.photo.extract import Extractor, Stacks
from model.photo.head import Discriminant, Statistics
from model.photo.tuned import LEAST, extractor_with, name_of
from model.photo.weights import FEATURES, read_shipped

# Expansion, kernel, stride, channels out, repeats of each stage.
STAGES = (
    (1, 3, 1, 16, 1),
    (6, 3, 2, 24, 2),
    (6, 5, 2, 40, 2),
    (6, 3, 2, 80, 3),
    (6, 5, 1, 112, 3),
    (6, 5, 2, 192, 4),
    (6, 3, 1, 320, 1),
)
# The last in which padding is an attribute, which the runtime merges with the convolution that follows.
OPSET = 10
SHORT = ".short"  # ends the names of weights that are kept in 16 bits


class HalvingConv2d(nn.Conv2d):
    """Convolution of stride 2 padded as the weights were trained: the odd pixel goes right and below."""

    def forward(self, input: Tensor) -> Tensor:
        """Map (n, in, h, w), h and w even, to (n, out, h / 2, w / 2)."""
        kernel = self.kernel_size[0]
        padded = functional.pad(input, ((kernel - 2) // 2, kernel // 2) * 2)
        filtered: Tensor = self._conv_forward(padded, self.weight, self.bias)
        return filtered


def _norm(channels: int, act: bool = True) -> nn.Sequential:
    layers: list[nn.Module] = [nn.BatchNorm2d(channels, eps=1e-3)]
    if act:
        layers.append(nn.ReLU6(inplace=True))
    return nn.Sequential(*layers)


def _conv(cin: int, cout: int, kernel: int = 1, stride: int = 1, groups: int = 1) -> nn.Conv2d:
    if stride == 2:
        return HalvingConv2d(cin, cout, kernel, stride, groups=groups, bias=False)
    return nn.Conv2d(cin, cout, kernel, padding=kernel // 2, groups=groups, bias=False)


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
    """The network up to its pooled features; its state has the names that ONNX files and checkpoints use."""

    def __init__(self) -> None:
        super().__init__()
        self.stem = nn.Sequential(_conv(3, 32, 3, 2), _norm(32))
        blocks, cin = [], 32
        for expand, kernel, stride, cout, repeats in STAGES:
            for repeat in range(repeats):
                blocks.append(Block(cin, cout, expand, kernel, stride if repeat == 0 else 1))
                cin = cout
        self.blocks = nn.Sequential(*blocks)
        self.head = nn.Sequential(_conv(cin, FEATURES), _norm(FEATURES))

    def forward(self, x: Tensor) -> Tensor:
        """Pooled features, float (n, FEATURES), never negative, of views (n, 3, h, w) in -1..1, sides in 32s of px."""
        return functional.adaptive_avg_pool2d(self.head(self.blocks(self.stem(x))), 1).flatten(1)


def load_shipped() -> Lite0:
    """The shipped network, ready to evaluate. Raises ModelError as read_shipped does."""
    return load(read_shipped())


def load(data: bytes) -> Lite0:
    """A network that was exported, ready to evaluate."""
    arrays = onnx.load_from_string(data).graph.initializer
    net = Lite0()
    weights = {a.name.removesuffix(SHORT): torch.from_numpy(onnx.numpy_helper.to_array(a).copy()) for a in arrays}
    net.load_state_dict(weights)
    return net.eval()


class GpuNetwork:
    """An exported network run by a GPU: the features of model.photo.extract.Network, but for the last bits."""

    def __init__(self, data: bytes) -> None:
        self.name, self._net = name_of(data), load(data).cuda()

    @torch.no_grad()
    def features_of_views(self, stacks: Stacks) -> NDArray[np.float64]:
        """Square roots of the pooled features averaged over views in stacks (m, 3, side, side): float (FEATURES,)."""
        pooled = torch.cat([self._net(torch.from_numpy(stack).cuda()) for stack in stacks])
        return np.asarray(pooled.double().mean(dim=0).sqrt().cpu().numpy())


def extractor_of(data: bytes) -> Extractor:
    """What makes the features of an exported network: by a GPU where there is one, else by all processors."""
    return Extractor((GpuNetwork(data),)) if torch.cuda.is_available() else extractor_with(data)


def export(net: Lite0) -> bytes:
    """The network as an ONNX file: `views` float32 (n, 3, h, w) in -1..1 to `features` float32 (n, FEATURES)."""
    file = io.BytesIO()
    # torch's older exporter needs no other package and keeps the names of the weights, which load_shipped goes by.
    torch.onnx.export(
        net.eval().cpu().to(memory_format=torch.contiguous_format),
        (torch.zeros(1, 3, 64, 64),),
        file,
        input_names=["views"],
        output_names=["features"],
        dynamic_axes={"views": {0: "n", 2: "h", 3: "w"}, "features": {0: "n"}},
        opset_version=OPSET,
        training=torch.onnx.TrainingMode.PRESERVE,  # normalisations stay layers of their own
        do_constant_folding=False,
        dynamo=False,
    )
    return _halved(file.getvalue())


def _halved(data: bytes) -> bytes:
    """The same network with the weights of its filters in 16 bits: half the size; loading makes 32 bits of them."""
    model = onnx.load_from_string(data)
    graph, kind = model.graph, onnx.TensorProto.FLOAT
    filters = [array for array in graph.initializer if len(array.dims) > 1]
    short = {array.name: f"{array.name}{SHORT}" for array in filters}
    for array in filters:
        weights = onnx.numpy_helper.to_array(array).astype(np.float16)
        array.CopyFrom(onnx.numpy_helper.from_array(weights, short[array.name]))
    casts = [onnx.helper.make_node("Cast", [short[name]], [name], to=kind) for name in short]
    layers = casts + list(graph.node)
    del graph.node[:]
    graph.node.extend(layers)
    return bytes(model.SerializeToString())


class TuningNet(nn.Module):
    """Backbone and linear head over square roots of pooled features.

    ``kept`` lower blocks, and the stem with them if there are any, are not learned. Batch normalisations keep the
    means and variances that they came with: small batches would give poor ones.
    """

    def __init__(self, backbone: Lite0, classes: int, kept: int) -> None:
        super().__init__()
        self.backbone = backbone
        self.linear = nn.Linear(FEATURES, classes)
        if kept:
            for part in (backbone.stem, backbone.blocks[:kept]):
                part.requires_grad_(False)
        self.eval()

    def roots(self, x: Tensor) -> Tensor:
        """Square roots of pooled features, float (n, FEATURES), of views (n, 3, h, w) in -1..1."""
        pooled: Tensor = self.backbone(x)
        return (pooled + LEAST).sqrt()

    def forward(self, x: Tensor) -> Tensor:
        """Logits (n, classes) of views (n, 3, h, w) in -1..1."""
        logits: Tensor = self.linear(self.roots(x))
        return logits

    def head_weights(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Weights (classes, FEATURES) and offsets (classes,) of the linear head."""
        linear = self.linear.cpu()
        return linear.weight.detach().double().numpy(), linear.bias.detach().double().numpy()

    def start_head(self, statistics: Statistics, shrinkage: float, temperature: float) -> None:
        """Set the linear head to the closed-form one, so that learning begins where that ends.

        ``statistics`` in the order of the classes. A linear discriminant is linear in the features.
        """
        weight, bias = Discriminant(statistics, shrinkage).linear()
        with torch.no_grad():
            self.linear.weight.copy_(torch.from_numpy(weight / temperature))
            self.linear.bias.copy_(torch.from_numpy(bias / temperature))
