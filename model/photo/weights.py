"""The weights of the shipped network, EfficientNet-Lite0, as arrays, without torch.

ImageNet's weights, adapted to plants as configs/recipes/starter.yaml says (training/adapt). They are read only
when their sha256 is the known one, for every model's features depend on them.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from safetensors.numpy import load

from model.errors import ModelError

Weights = Mapping[str, NDArray[Any]]
FEATURES = 1280
SHIPPED = Path(__file__).parent.parent / "starter" / "backbone.safetensors"
WEIGHTS_SHA256 = "54249ac3696ccdf969a6c61a1bd92120470be722ccf640fec87d629ac1b20e7e"
# kind of stage by expansion, kernel, stride, channels out, repeats
STAGES = (
    (1, 3, 1, 16, 1),
    (6, 3, 2, 24, 2),
    (6, 5, 2, 40, 2),
    (6, 3, 2, 80, 3),
    (6, 5, 1, 112, 3),
    (6, 5, 2, 192, 4),
    (6, 3, 1, 320, 1),
)


def load_weights() -> dict[str, NDArray[np.float32]]:
    """The shipped weights by the names of model.photo.backbone.Lite0's state, but for those that features do without.

    Raises ModelError when the file is not the one whose sha256 is known.
    """
    try:
        data = SHIPPED.read_bytes()
    except OSError as error:
        raise ModelError(f"{SHIPPED}: cannot be read ({error.strerror}); install swardkey again") from None
    if hashlib.sha256(data).hexdigest() != WEIGHTS_SHA256:
        raise ModelError(f"{SHIPPED}: is not the known file of weights; install swardkey again")
    return {name: array.astype(np.float32) for name, array in load(data).items()}
