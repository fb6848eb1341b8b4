"""The weights without torch: to the last bit what torch reads, and nothing but the known file."""

from __future__ import annotations

import os
import pickle
from pathlib import Path

import numpy as np
import pytest

from model.errors import ModelError
from model.photo import weights
from model.photo.graph import Engine
from model.photo.tuned import extractor_with, with_weights
from model.photo.weights import arrays_of, imagenet_weights, load_weights


def test_they_are_to_the_last_bit_what_torch_reads() -> None:
    import torch

    from model.photo.backbone import Lite0

    given = torch.load(imagenet_weights(), weights_only=True)
    ours = load_weights()
    assert list(ours) == list(Lite0().state_dict())
    for (name, array), tensor in zip(ours.items(), given.values(), strict=True):
        wanted = tensor.numpy()
        assert array.dtype == wanted.dtype and array.shape == wanted.shape, name
        assert array.tobytes() == wanted.tobytes(), name


@pytest.mark.parametrize("spoil", ["one bit", "cut short", "longer", "missing"])
def test_another_file_is_refused_in_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, spoil: str) -> None:
    data = imagenet_weights().read_bytes()
    other = {"one bit": data[:-1] + bytes([data[-1] ^ 1]), "cut short": data[:-1], "longer": data + b"\0"}
    file = tmp_path / "weights.pth"
    if spoil in other:
        file.write_bytes(other[spoil])
    monkeypatch.setattr(weights, "imagenet_weights", lambda: file)
    with pytest.raises(ModelError) as error:
        load_weights()
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


def test_views_are_seen_alike_by_one_thread_and_by_several() -> None:
    shipped = load_weights()
    x = np.random.default_rng(1).uniform(-1, 1, (5, 3, 225, 225)).astype(np.float32)
    small = np.ascontiguousarray(x[:2, :, :160, :160])
    one, three = Engine(shipped, threads=1), Engine(shipped, threads=3)
    assert np.array_equal(one.pooled(x, small), three.pooled(x, small))
    assert np.array_equal(one.pooled(x, small), np.concatenate([three.pooled(x), three.pooled(small)]))


def test_a_tuned_network_differs_where_it_was_tuned_and_must_fit() -> None:
    shipped = load_weights()
    name = "head.1.0.bias"
    change = (shipped[name] + 0.25).astype(np.float16)
    tuned = with_weights(shipped, {name: change})
    assert np.array_equal(tuned[name], change.astype(np.float32)) and not np.array_equal(tuned[name], shipped[name])
    assert all(tuned[other] is shipped[other] for other in shipped if other != name)
    x = np.full((1, 3, 64, 64), 0.5, np.float32)
    assert extractor_with({name: change}, 1).features_of_views((x,)) != pytest.approx(
        extractor_with({}, 1).features_of_views((x,))
    )
    for bad in ({"head.9.bias": change}, {name: change[:-1]}):
        with pytest.raises(ModelError, match="does not belong to the network"):
            with_weights(shipped, bad)
