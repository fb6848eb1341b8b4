"""The shipped network, EfficientNet-Lite0 as an ONNX file that torch exported, and what its features are called.

ImageNet's weights, adapted to plants as configs/recipes/starter.yaml says (training/finetune/starter_network.py). The
file is read only when its sha256 is the known one, for every model's features depend on it.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from model.errors import ModelError

FEATURES = 1280
SHIPPED = Path(__file__).parent.parent / "starter" / "backbone.onnx"
SHIPPED_SHA256 = "547436a741408c21aa3c37013a91ce7bac7cd0c1cb58998812a3f630787402f9"
# Part of the name of its features, which every model carries: older models were made from the same weights.
SHIPPED_NAME = "lite0-54249ac3696ccdf9"


def read_shipped() -> bytes:
    """The file of the shipped network. Raises ModelError when it is not the one whose sha256 is known."""
    try:
        data = SHIPPED.read_bytes()
    except OSError as error:
        raise ModelError(f"{SHIPPED}: cannot be read ({error.strerror}); install swardkey again") from None
    if hashlib.sha256(data).hexdigest() != SHIPPED_SHA256:
        raise ModelError(f"{SHIPPED}: is not the known network; install swardkey again")
    return data
