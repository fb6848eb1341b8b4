"""The ImageNet weights: no file but the known one is opened."""

from __future__ import annotations

from pathlib import Path

import pytest
import torch

from model.errors import ModelError
from training.finetune import imagenet
from training.finetune.imagenet import imagenet_weights, load_imagenet
from training.finetune.network import export, load, load_shipped


@pytest.mark.parametrize("spoil", ["one bit", "cut short", "longer", "missing"])
def test_another_file_is_refused_in_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, spoil: str) -> None:
    data = imagenet_weights().read_bytes()
    other = {"one bit": data[:-1] + bytes([data[-1] ^ 1]), "cut short": data[:-1], "longer": data + b"\0"}
    file = tmp_path / "weights.pth"
    if spoil in other:
        file.write_bytes(other[spoil])
    monkeypatch.setattr(imagenet, "imagenet_weights", lambda: file)
    with pytest.raises(ModelError) as error:
        load_imagenet()
    assert "reinstall" in str(error.value) and "\n" not in str(error.value)


def test_the_shipped_network_is_made_of_them_to_the_last_bit() -> None:
    exported, shipped = load(export(load_imagenet())).state_dict(), load_shipped().state_dict()
    assert list(exported) == list(shipped) and all(torch.equal(exported[name], shipped[name]) for name in shipped)
