"""ONNX files that somebody made to do harm, or that are not networks of ours."""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import onnx
from onnx import TensorProto, helper, numpy_helper

from model.photo.weights import read_shipped
from tests.security.hostile_model_files import Evil

Change = Callable[[Any], object]


def networks() -> Iterator[tuple[str, bytes]]:
    """Name and bytes of each."""
    shipped = read_shipped()
    yield "nothing", b""
    yield "zeros", bytes(1000)
    yield "text", b"{}" * 1000
    yield "a pickle", pickle.dumps(Evil())
    for share in (0.001, 0.5, 0.999):
        yield f"cut at {share}", shipped[: int(share * len(shipped))]
    yield "a length that lies", b"\x3a\xff\xff\xff\xff\xff\xff\xff\xff\x7f" + shipped[10:]
    yield "a length without end", b"\x3a" + b"\xff" * 1000
    for name, change in _changes():
        model = onnx.load_from_string(shipped)
        change(model)
        yield name, model.SerializeToString()


def _changes() -> Iterator[tuple[str, Change]]:
    """What is done to the shipped network."""
    yield "reads another file", lambda m: _outside(m.graph.initializer[0], "/etc/passwd")
    yield "reads a file beside it", lambda m: _outside(m.graph.initializer[0], "head.safetensors")
    yield (
        "an array of the reader's",
        lambda m: m.graph.node[0].attribute.append(
            helper.make_attribute("value", numpy_helper.from_array(np.zeros(3, np.float32)))
        ),
    )
    yield "loops for ever", lambda m: m.graph.node.append(_loop())
    yield (
        "an array without end",
        lambda m: m.graph.node.append(helper.make_node("ConstantOfShape", ["views"], ["much"])),
    )
    yield "a layer of another house", lambda m: setattr(m.graph.node[0], "domain", "com.microsoft")
    yield (
        "functions of its own",
        lambda m: m.functions.append(helper.make_function("x", "Conv", [], [], [], [helper.make_opsetid("", 10)])),
    )
    yield (
        "sparse arrays",
        lambda m: m.graph.sparse_initializer.append(
            helper.make_sparse_tensor(
                helper.make_tensor("s", TensorProto.FLOAT, [1], [1.0]),
                helper.make_tensor("i", TensorProto.INT64, [1], [0]),
                [10**12],
            )
        ),
    )
    yield "a wide margin", lambda m: _padding(m).ints.__setitem__(6, 10**9)
    yield "a margin below nothing", lambda m: _padding(m).ints.__setitem__(6, -(10**9))
    yield "endlessly many layers", lambda m: m.graph.node.extend([m.graph.node[3]] * 10_000)
    yield "other names", lambda m: setattr(m.graph.output[0], "name", "others")
    yield "a layer missing", lambda m: m.graph.node.pop(3)
    yield "a layer that runs in a circle", lambda m: m.graph.node[0].input.__setitem__(0, "features")
    yield "other views", lambda m: _fill(m, "stem.0.weight.short", np.zeros((32, 4, 3, 3), np.float32))
    yield "other features", lambda m: m.graph.node.pop()
    yield (
        "numbers that are none",
        lambda m: _fill(m, "head.0.weight.short", np.full((1280, 320, 1, 1), np.nan, np.float32)),
    )
    yield "whole numbers", lambda m: _fill(m, "head.1.0.weight", np.zeros(1280, np.int32))


def _outside(array: Any, place: str) -> None:
    array.ClearField("raw_data")
    array.data_location = TensorProto.EXTERNAL
    array.external_data.add(key="location", value=place)


def _loop() -> Any:
    body = helper.make_graph([], "body", [], [])
    return helper.make_node("Loop", ["", "", "views"], ["looped"], body=body)


def _padding(model: Any) -> Any:
    return next(a for node in model.graph.node if node.op_type == "Pad" for a in node.attribute if a.name == "pads")


def _fill(model: Any, name: str, array: Any) -> None:
    place = next(i for i, a in enumerate(model.graph.initializer) if a.name == name)
    model.graph.initializer[place].CopyFrom(numpy_helper.from_array(array, name))
