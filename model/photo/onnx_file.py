"""Check an ONNX file before the runtime sees it: a plain chain of the layers that our networks have, nothing else.

A graph can ask the runtime to read other files, to loop for ever or to make arrays without end. The file is a
protobuf message (Google's wire format, onnx.proto3); numbers below are those of its fields.
"""

from __future__ import annotations

from collections.abc import Iterator

LAYERS = frozenset([b"Add", b"BatchNormalization", b"Cast", b"Clip", b"Conv", b"Flatten", b"GlobalAveragePool", b"Pad"])
LARGEST_NUMBER = 16  # in a list: kernel, stride, padding
MOST_LAYERS = 400  # ours have 201
GRAPH, FUNCTIONS = 7, 25  # of a model
NODE, ARRAY, SPARSE_ARRAY = 1, 5, 15  # of a graph
OPERATOR, ATTRIBUTE, DOMAIN = 4, 5, 7  # of a node
EXTERNAL_DATA, DATA_LOCATION = 13, 14  # of an array
INTEGERS = 8  # of an attribute
HARMLESS = frozenset([1, 2, 3, 4, INTEGERS, 13, 20])  # of an attribute: name, number, text, numbers, its kind

Value = int | memoryview


def fault_of_network(data: bytes) -> str:
    """What does not belong in the ONNX file of a network, in a few words; "" where there is nothing."""
    try:
        for graph in _messages(memoryview(data), GRAPH, refused=(FUNCTIONS,)):
            nodes = list(_messages(graph, NODE, refused=(SPARSE_ARRAY,)))
            if len(nodes) > MOST_LAYERS:
                return f"it has {len(nodes)} layers"
            for node in nodes:
                _check_node(node)
            for array in _messages(graph, ARRAY):
                list(_messages(array, 0, refused=(EXTERNAL_DATA, DATA_LOCATION)))
    except ValueError as error:
        return str(error)
    return ""


def _check_node(node: memoryview) -> None:
    for operator in _messages(node, OPERATOR, refused=(DOMAIN,)):
        if bytes(operator) not in LAYERS:
            raise ValueError("it has a layer of another kind")
    for attribute in _messages(node, ATTRIBUTE):
        for number, value in _fields(attribute):
            if number == INTEGERS and not (isinstance(value, int) and value <= LARGEST_NUMBER):
                raise ValueError("a layer has a number that is too large")
            if number not in HARMLESS:
                raise ValueError("a layer holds something that none needs")


def _messages(data: memoryview, wanted: int, refused: tuple[int, ...] = ()) -> Iterator[memoryview]:
    """The messages in one field. Raises ValueError where a refused field is not empty."""
    for number, value in _fields(data):
        if number in refused and (value if isinstance(value, int) else len(value)):
            raise ValueError("it holds something that no network needs")
        if number == wanted:
            if isinstance(value, int):
                raise ValueError("it is not an ONNX file")
            yield value


def _fields(data: memoryview) -> Iterator[tuple[int, Value]]:
    """Number and value of each field of a message. Raises ValueError where it is none."""
    at = 0
    while at < len(data):
        key, at = _whole_number(data, at)
        kind = key & 7
        value: Value = 0
        if kind == 0:
            value, at = _whole_number(data, at)
        elif kind in (1, 5):
            at += 8 if kind == 1 else 4
        elif kind == 2:
            size, at = _whole_number(data, at)
            value, at = data[at : at + size], at + size
        else:
            raise ValueError("it is not an ONNX file")
        if at > len(data):
            raise ValueError("it is cut short")
        yield key >> 3, value


def _whole_number(data: memoryview, at: int) -> tuple[int, int]:
    """A number of variable length, and the place after it."""
    value = 0
    for shift in range(0, 70, 7):
        if at >= len(data):
            break
        value |= (data[at] & 127) << shift
        at += 1
        if data[at - 1] < 128:
            return value, at
    raise ValueError("it is cut short")
