"""The shipped network: the known file and no other, and the same features by any number of threads."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from safetensors.numpy import save_file

from model.errors import ModelError
from model.photo import weights
from model.photo.extract import Extractor, Network
from model.photo.onnx_file import fault_of_network
from model.photo.saved import STARTER, read_model
from model.photo.tuned import FILE, NETWORK, TunedClassifier, extractor_for, read_classifier, save_tuned
from model.photo.weights import SHIPPED, read_shipped
from tests.security.hostile_models import second_network
from tests.security.hostile_networks import networks


@pytest.mark.parametrize("spoil", ["one bit", "cut short", "longer", "missing"])
def test_another_file_is_refused_in_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, spoil: str) -> None:
    data = SHIPPED.read_bytes()
    other = {"one bit": data[:-1] + bytes([data[-1] ^ 1]), "cut short": data[:-1], "longer": data + b"\0"}
    file = tmp_path / "backbone.onnx"
    if spoil in other:
        file.write_bytes(other[spoil])
    monkeypatch.setattr(weights, "SHIPPED", file)
    with pytest.raises(ModelError) as error:
        Extractor()
    assert "install swardkey again" in str(error.value) and "\n" not in str(error.value)


def test_views_are_seen_alike_by_one_thread_and_by_several() -> None:
    x = np.random.default_rng(1).uniform(-1, 1, (5, 3, 96, 96)).astype(np.float32)
    small = np.ascontiguousarray(x[:2, :, :64, :64])
    one, three = (Network(read_shipped(), threads=threads) for threads in (1, 3))
    assert np.array_equal(one.features_of_views((x, small)), three.features_of_views((x, small)))


def test_hostile_networks_are_refused_in_one_sentence_before_they_do_anything(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for name, data in networks():
        with pytest.raises(ModelError) as error:
            Network(data)
        assert "\n" not in str(error.value) and len(str(error.value)) < 300, name
        if any(word in name for word in ("reads", "loops", "end", "margin", "functions", "house")):
            assert fault_of_network(data), f"{name}: the runtime has seen it"
    assert not list(tmp_path.iterdir())


def test_a_model_of_two_networks_is_read_back_and_one_of_an_older_version_says_so(tmp_path: Path) -> None:
    shutil.copytree(STARTER, tmp_path / "model")
    save_tuned(tmp_path / "model", second_network(read_model(STARTER)[0]))
    found = read_classifier(tmp_path / "model")
    assert isinstance(found, TunedClassifier) and len(extractor_for(found, 1).parts) == 2
    (tmp_path / "model" / NETWORK).write_bytes(read_shipped() + b"\0\0")
    with pytest.raises(ModelError, match="another network; train it again"):
        read_classifier(tmp_path / "model")
    (tmp_path / "model" / NETWORK).unlink()
    save_file({"network.stem.0.weight": np.zeros((32, 3, 3, 3), np.float16)}, tmp_path / "model" / FILE)
    with pytest.raises(ModelError, match="an older version of swardkey; train --recipe full again"):
        read_classifier(tmp_path / "model")
