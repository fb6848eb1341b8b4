"""EfficientNet-Lite0 as an ONNX graph, built from its weights, for a runtime that is several times faster here.

The graph has the convolutions of model/photo/backbone.py with their batch normalisations folded
in (Jacob et al. 2018), and ends in pooled features. It is built in memory at start and never stored.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import onnxruntime
from numpy.typing import NDArray
from onnx import TensorProto, helper, numpy_helper

from model.photo.weights import FEATURES, STAGES, Weights

EPSILON = 1e-3  # of the batch normalisations
OPSET, IR = 17, 9


class _Graph:
    """Nodes and constants as they are added."""

    def __init__(self, weights: Weights) -> None:
        self.weights = weights
        self.nodes: list[Any] = []
        self.constants = [
            numpy_helper.from_array(np.array(0.0, np.float32), "zero"),
            numpy_helper.from_array(np.array(6.0, np.float32), "six"),
        ]

    def add(self, kind: str, inputs: list[str], **attributes: Any) -> str:
        name = f"{kind.lower()}_{len(self.nodes)}"
        self.nodes.append(helper.make_node(kind, inputs, [name], **attributes))
        return name

    def convolve(self, x: str, layer: str, norm: str, stride: int = 1, groups: int = 1, act: bool = True) -> str:
        """Convolution with its normalisation folded in, padded as the weights were trained, then ReLU6."""
        kernel, bias = self._folded(layer, norm)
        name = f"w_{len(self.nodes)}"
        self.constants += [numpy_helper.from_array(kernel, name), numpy_helper.from_array(bias, f"{name}_bias")]
        side = kernel.shape[2]
        padding = {"auto_pad": "SAME_UPPER"} if stride > 1 else {"pads": [side // 2] * 4}
        y = self.add(
            "Conv",
            [x, name, f"{name}_bias"],
            kernel_shape=[side, side],
            strides=[stride, stride],
            group=groups,
            **padding,
        )
        return self.add("Clip", [y, "zero", "six"]) if act else y

    def _folded(self, layer: str, norm: str) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        kernel = self.weights[f"{layer}.weight"].astype(np.float64)
        gain, offset, mean, variance = (
            self.weights[f"{norm}.{part}"].astype(np.float64)
            for part in ("weight", "bias", "running_mean", "running_var")
        )
        scale = gain / np.sqrt(variance + EPSILON)
        return (kernel * scale[:, None, None, None]).astype(np.float32), (offset - mean * scale).astype(np.float32)


def build_graph(weights: Weights) -> bytes:
    """The network as a serialised ONNX model: `views` float32 (n, 3, h, w) in -1..1 to `pooled` (n, FEATURES, 1, 1).

    ``weights`` are those of model.photo.backbone.Lite0, by the names of its state.
    """
    graph = _Graph(weights)
    x, block = graph.convolve("views", "stem.0", "stem.1.0", stride=2), 0
    for expand, _, stride, _, repeats in STAGES:
        for repeat in range(repeats):
            x = _block(graph, x, f"blocks.{block}.steps", expand, stride if repeat == 0 else 1, repeat > 0)
            block += 1
    x = graph.convolve(x, "head.0", "head.1.0")
    graph.nodes.append(helper.make_node("GlobalAveragePool", [x], ["pooled"]))
    made = helper.make_graph(
        graph.nodes,
        "lite0",
        [helper.make_tensor_value_info("views", TensorProto.FLOAT, ["n", 3, "h", "w"])],
        [helper.make_tensor_value_info("pooled", TensorProto.FLOAT, ["n", FEATURES, 1, 1])],
        graph.constants,
    )
    model = helper.make_model(made, opset_imports=[helper.make_opsetid("", OPSET)], ir_version=IR)
    return bytes(model.SerializeToString())


def _block(graph: _Graph, x: str, name: str, expand: int, stride: int, adds_input: bool) -> str:
    """Inverted residual: widen, filter each channel, narrow; added to its input where shapes agree."""
    y, layer = x, 0
    if expand > 1:
        y, layer = graph.convolve(y, f"{name}.0", f"{name}.1.0"), 2
    channels = graph.weights[f"{name}.{layer}.weight"].shape[0]
    y = graph.convolve(y, f"{name}.{layer}", f"{name}.{layer + 1}.0", stride, channels)
    y = graph.convolve(y, f"{name}.{layer + 2}", f"{name}.{layer + 3}.0", act=False)
    return graph.add("Add", [x, y]) if adds_input else y


class Engine:
    """The network, ready to run on this machine's processors: each takes one view after another.

    Threads that share a view would wait for one another at every layer, and on a busy machine
    wait long. Results do not depend on the number of threads.
    """

    def __init__(self, weights: Weights, threads: int | None = None) -> None:
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        options.log_severity_level = 3
        self._session = onnxruntime.InferenceSession(build_graph(weights), options, providers=["CPUExecutionProvider"])
        self._threads = ThreadPoolExecutor(threads or _processors(), "look")

    def pooled(self, *stacks: NDArray[np.float32]) -> NDArray[np.float32]:
        """Pooled features, float32 (n, FEATURES), never negative, of n views in stacks float32 (m, 3, h, w), -1..1."""
        return np.stack(list(self._threads.map(self._one, (view for stack in stacks for view in stack))))

    def _one(self, view: NDArray[np.float32]) -> NDArray[np.float32]:
        return np.asarray(self._session.run(["pooled"], {"views": view[None]})[0][0, :, 0, 0])


def _processors() -> int:
    """Processors that this process may use, which may be fewer than the machine has."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on Windows and macOS
        return os.cpu_count() or 1
