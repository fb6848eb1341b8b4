"""The shipped network, EfficientNet-Lite0 as an ONNX file that torch exported, and what its features are called.

ImageNet's weights (Apache-2.0), those of its filters in 16 bits; ``python -m training.finetune.imagenet`` writes the
file again. It is read only when its sha256 is the known one, for every model's features depend on it.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from model.errors import ModelError

FEATURES = 1280
SHIPPED = Path(__file__).parent.parent / "starter" / "backbone.onnx"
SHIPPED_SHA256 = "1312733f3d1aaaf5c5fdde15d018534f2b3194ff64f52a9bf41772f93081a49a"
# Part of the name of its features, which every model carries: older models were made from the same weights.
SHIPPED_NAME = "lite0-1312733f3d1aaaf5"


def read_shipped() -> bytes:
    """The file of the shipped network. Raises ModelError when it is not the one whose sha256 is known."""
    try:
        data = SHIPPED.read_bytes()
    except OSError as error:
        raise ModelError(f"{SHIPPED}: cannot be read ({error.strerror}); install swardkey again") from None
    if hashlib.sha256(data).hexdigest() != SHIPPED_SHA256:
        raise ModelError(f"{SHIPPED}: is not the known network; install swardkey again")
    return data
