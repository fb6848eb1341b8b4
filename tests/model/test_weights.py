"""The shipped weights: the known file and no other, and the same features by any number of threads."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from model.errors import ModelError
from model.photo import weights
from model.photo.graph import Engine
from model.photo.tuned import extractor_with, with_weights
from model.photo.weights import SHIPPED, load_weights


def test_they_fill_the_network_but_for_what_features_do_without() -> None:
    from model.photo.backbone import Lite0

    wanted = {name: tuple(t.shape) for name, t in Lite0().state_dict().items()}
    without = {name for name in wanted if name.startswith("classifier.") or name.endswith("num_batches_tracked")}
    ours = load_weights()
    assert {name: array.shape for name, array in ours.items()} == {n: wanted[n] for n in wanted if n not in without}
    assert all(array.dtype == np.float32 and np.isfinite(array).all() for array in ours.values())
    assert SHIPPED.stat().st_size < 20e6  # what may lie in the repository


@pytest.mark.parametrize("spoil", ["one bit", "cut short", "longer", "missing"])
def test_another_file_is_refused_in_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, spoil: str) -> None:
    data = SHIPPED.read_bytes()
    other = {"one bit": data[:-1] + bytes([data[-1] ^ 1]), "cut short": data[:-1], "longer": data + b"\0"}
    file = tmp_path / "backbone.safetensors"
    if spoil in other:
        file.write_bytes(other[spoil])
    monkeypatch.setattr(weights, "SHIPPED", file)
    with pytest.raises(ModelError) as error:
        load_weights()
    assert "install swardkey again" in str(error.value) and "\n" not in str(error.value)


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
