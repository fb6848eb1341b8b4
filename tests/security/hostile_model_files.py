"""Files of a model that somebody made to do harm: headers that lie, wrong shapes and numbers, bad descriptions."""

from __future__ import annotations

import json
import os
import pickle
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
from safetensors.numpy import load_file, save_file

from model.photo.saved import STARTER

HEAD = "head.safetensors"
Spoil = Callable[[Path], object]


class Evil:
    """What a pickle runs when it is read."""

    def __reduce__(self) -> tuple[Any, ...]:
        return os.mkdir, ("swardkey-was-here",)


def raw(header: object, body: bytes = b"", length: int | None = None) -> bytes:
    """A file of arrays with any header, whose length may be a lie."""
    data = header if isinstance(header, bytes) else json.dumps(header).encode()
    return (len(data) if length is None else length).to_bytes(8, "little") + data + body


def one(dtype: str = "F32", shape: object = (4,), offsets: object = (0, 16), **more: object) -> dict[str, object]:
    return {"counts": {"dtype": dtype, "shape": shape, "data_offsets": offsets, **more}}


def headers() -> Iterator[tuple[str, bytes]]:
    """Files of arrays whose header lies."""
    body = b"\0" * 64
    for length in (0, 1, 7, 99, 10**6, 10**8, 2**31, 2**32 - 1, 2**62, 2**63, 2**64 - 1):
        yield f"header of {length}", raw(one(), body, length)
    texts: dict[str, object] = {
        "empty": {},
        "list": [],
        "number": 3,
        "null": None,
        "text": "x",
        "no JSON": b"\x80\x04",
        "UTF-16": "{}".encode("utf-16"),
        "NUL": b"\0" * 100,
        "deep": b"[" * 50_000,
        "deep within": b'{"a":' * 50_000,
        "unfinished": b'{"counts": {"dtype": "F32"',
        "twice": b'{"counts":'
        + json.dumps(one()["counts"]).encode()
        + b',"counts":'
        + json.dumps(one()["counts"]).encode()
        + b"}",
        "metadata": {"__metadata__": {"a": [1]}},
        "many": {f"a{n}": one(shape=(0,), offsets=(0, 0))["counts"] for n in range(9000)},
    }
    for name, text in texts.items():
        yield f"header {name}", raw(text, body)
    for name, header in {
        "overlapping": {**one(), "means": {"dtype": "F32", "shape": [4], "data_offsets": [8, 24]}},
        "same place": {**one(), "means": one()["counts"]},
        "beyond the end": one(offsets=(0, 10**9), shape=(250_000_000,)),
        "backwards": one(offsets=(16, 0)),
        "negative": one(offsets=(-16, 0)),
        "fractions": one(offsets=(0.5, 16.5)),
        "texts": one(offsets=("0", "16")),
        "three": one(offsets=(0, 8, 16)),
        "gap": one(offsets=(32, 48)),
        "huge shape": one(shape=(2**62,)),
        "shape overflows": one(shape=(2**32, 2**32)),
        "shape to nothing": one(shape=(2**62, 0), offsets=(0, 0)),
        "negative shape": one(shape=(-4,)),
        "shape of texts": one(shape=("4",)),
        "many sides": one(shape=(1,) * 5000, offsets=(0, 4)),
        "unknown kind": one("F31"),
        "kind of number": one(3),
        "16-bit brain": one("BF16", (8,)),
        "8-bit": one("F8_E4M3", (16,)),
        "complex": one("C64", (2,)),
        "whole": one("I64", (2,)),
        "truths": one("BOOL", (16,)),
        "objects": one("O", (2,)),
    }.items():
        yield f"array {name}", raw(header, body)


def arrays(change: Callable[[dict[str, Any]], object]) -> Spoil:
    def spoil(folder: Path) -> None:
        found = {name: array.copy() for name, array in load_file(folder / HEAD).items()}
        change(found)
        save_file(found, folder / HEAD)

    return spoil


def values() -> Iterator[tuple[str, Spoil]]:
    """Arrays with wrong shapes, kinds and numbers."""

    def put(name: str, value: float, where: object = 0) -> Spoil:
        return arrays(lambda a: a[name].reshape(-1).__setitem__(where, value))

    for name in ("counts", "means", "scatter_upper"):
        for value in (np.nan, np.inf, -np.inf, 3e38):
            yield f"{value} in {name}", put(name, value)
        yield f"all of {name} 3e38", put(name, 3e38, slice(None))
        yield f"all of {name} nothing", put(name, 0.0, slice(None))
        yield f"{name} below nothing", put(name, -5.0, slice(None))
        yield f"{name} hardly anything", put(name, 1e-45, slice(None))
        yield f"{name} missing", arrays(lambda a, n=name: a.pop(n))
        yield f"{name} empty", arrays(lambda a, n=name: a.update({n: a[n][:0]}))
        yield f"{name} shorter", arrays(lambda a, n=name: a.update({n: a[n][:-1].copy()}))
        yield f"{name} on end", arrays(lambda a, n=name: a.update({n: np.ascontiguousarray(a[n].T.reshape(-1, 1))}))
        for kind in (np.float64, np.int8, np.bool_, np.complex64, np.float16):
            yield (
                f"{name} as {np.dtype(kind)}",
                arrays(lambda a, n=name, k=kind: a.update({n: (a[n] > 0).astype(k)})),
            )
    yield "another array", arrays(lambda a: a.update({"more": np.zeros(3, np.float32)}))
    yield "path for a name", arrays(lambda a: a.update({"../../x": a.pop("means")}))
    yield "no spread", put("scatter_upper", -1e3, slice(None))
    yield (
        "wild",
        arrays(
            lambda a: a.update(
                {n: np.random.default_rng(1).normal(0, 1e9, x.shape).astype(np.float32) for n, x in a.items()}
            )
        ),
    )


def descriptions() -> Iterator[tuple[str, Spoil]]:
    """model.json of the wrong form."""

    def text(data: bytes) -> Spoil:
        return lambda folder: (folder / "model.json").write_bytes(data)

    def put(**fields: object) -> Spoil:
        def spoil(folder: Path) -> None:
            data = json.loads((folder / "model.json").read_text())
            kept = {k: v for k, v in {**data, **fields}.items() if v is not ...}
            (folder / "model.json").write_text(json.dumps(kept))

        return spoil

    good = (STARTER / "model.json").read_bytes()
    names = json.loads(good)["classes"]
    for name, data in {
        "empty": b"",
        "list": b"[]",
        "null": b"null",
        "number": b"1e999",
        "deep": b"[" * 100_000,
        "deep fields": b'{"a":' * 100_000,
        "mark": b"\xef\xbb\xbf" + good,
        "UTF-16": good.decode().encode("utf-16"),
        "Latin-1": good.replace(b"_", b"\xe9"),
        "NUL": b"\0" + good,
        "twice": good.replace(b"{", b'{"temperature": -1,', 1),
        "cut": good[:300],
        "long": b" " * 30_000_000 + good,
        "long number": good.replace(b'"floor": 0.02', b'"floor": ' + b"9" * 100_000),
        "pickle": pickle.dumps(Evil()),
    }.items():
        yield f"text {name}", text(data)
    for field, some in {
        "temperature": (0, -1, float("nan"), float("inf"), 1e-320, 1e300, "x", None, [], ...),
        "shrinkage": (-1, 2, float("nan"), 1, 0, "x"),
        "floor": (0, 1, float("nan"), -0.1),
        "dependence": (9, float("inf"), 1),
        "novelty": ([0, 0, 0, 0], [float("nan")] * 4, [0, 1], [1e300, 1e-300, 1e300, 1], [0, 1e-320, 1, 1e-320], "x"),
        "more": ("field",),
        "features": ("", "lite0", None),
        "classes": ([], ["a"], [1, 2], "abc", {"a": 1}, ["a"] * 16, [""] * 16),
    }.items():
        for value in some:
            yield f"{field} {str(value)[:24]}", put(**{field: value})
    for bad in (
        "../../../etc/passwd",
        "a/b",
        "/etc/passwd",
        "C:\\x",
        "con:",
        "=cmd|' /C calc'!A0",
        "<script>",
        "a\0b",
        "a\nb",
        "\x1b[2J",
        "\u202egpj",
        "\uff21",
        "a" * 10_000,
        " ",
        ".",
        "..",
        "other:../x",
        "other:",
        "species\r",
    ):
        yield f"class {bad[:20]!r}", put(classes=[bad, *names[1:]])
    many = [f"s{n}" for n in range(200_000)]
    yield "200000 classes", put(classes=many)
