"""The ImageNet weights without unpickling: to the last bit what torch reads, and nothing but the known file."""

from __future__ import annotations

import os
import pickle
from pathlib import Path

import pytest
import torch

from model.errors import ModelError
from training.finetune import imagenet
from training.finetune.imagenet import arrays_of, imagenet_weights, load_imagenet


def test_they_are_to_the_last_bit_what_torch_reads() -> None:
    given = torch.load(imagenet_weights(), weights_only=True)
    ours = arrays_of(imagenet_weights().read_bytes())
    assert list(ours) == list(given)
    for name, array in ours.items():
        wanted = given[name].numpy()
        assert array.dtype == wanted.dtype and array.shape == wanted.shape, name
        assert array.tobytes() == wanted.tobytes(), name
    assert all(torch.equal(*pair) for pair in zip(load_imagenet().state_dict().values(), given.values(), strict=False))


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


class _Canary:
    def __init__(self, file: Path) -> None:
        self.file = file

    def __reduce__(self) -> tuple[object, ...]:
        return os.mkdir, (str(self.file),)


def test_a_pickle_that_asks_for_more_than_arrays_gets_nothing(tmp_path: Path) -> None:
    canary = tmp_path / "ran"
    for place in range(5):  # in each of the pickles of such a file
        parts: list[object] = [1, 2, {}, {}, []]
        parts[place] = _Canary(canary)
        with pytest.raises(ModelError, match="does not belong in a file of weights"):
            arrays_of(b"".join(pickle.dumps(part, protocol=2) for part in parts))
    assert not canary.exists()
