"""Keeping parsed files: the same key, quicker; stale or spoilt keeps are not believed."""

from __future__ import annotations

import json
import os
from pathlib import Path

import numpy as np
import pytest

from app.services.home import home
from app.services.knowledge import ParsedFiles, load_key
from model.errors import FloraError, SwardkeyError
from model.identify import Key, identify
from model.photo.evidence import Evidence


@pytest.fixture(autouse=True, scope="module")
def _facts_are_loaded_once() -> None:
    """Not here, where the loading itself is tested."""


def test_the_key_is_the_same_with_and_without_what_was_kept(
    key: Key, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("SWARDKEY_CACHE")
    for other in (load_key(), load_key()):  # the second from what the first kept
        assert (tmp_path / "home" / "cache" / "configs.json").exists()
        assert other.flora.species == key.flora.species
        assert np.array_equal(other.likelihoods.stacked, key.likelihoods.stacked)


def test_a_changed_file_is_read_again(tmp_path: Path) -> None:
    path, kept = tmp_path / "a.yaml", tmp_path / "kept.json"
    path.write_text("a: 1")
    files = ParsedFiles(kept)
    assert files(path) == {"a": 1}
    files.keep()
    path.write_text("a: 2")
    os.utime(path, ns=(1, 1))
    assert ParsedFiles(kept)(path) == {"a": 2}


@pytest.mark.parametrize("spoilt", ["", "{", "[]", '{"x": 3}'])
def test_a_spoilt_keep_is_ignored(tmp_path: Path, spoilt: str) -> None:
    path, kept = tmp_path / "a.yaml", tmp_path / "kept.json"
    path.write_text("a: 1")
    kept.write_text(spoilt)
    files = ParsedFiles(kept)
    assert files(path) == {"a": 1}
    files.keep()
    assert str(path) in json.loads(kept.read_text())


def test_a_broken_file_is_still_named(tmp_path: Path) -> None:
    with pytest.raises(FloraError, match="no such file"):
        ParsedFiles(tmp_path / "kept.json")(tmp_path / "none.yaml")


def test_species_of_the_users_own_are_candidates_but_never_proven(key: Key) -> None:
    folder = home() / "collection" / "species"
    folder.mkdir(parents=True)
    (folder / "garden_daisy.yaml").write_text("common_names: [garden daisy]\n", encoding="utf-8")
    own = load_key()
    assert len(own.flora.ids) == len(key.flora.ids) + 1
    photos = Evidence({"garden_daisy": 9.0}, -3.0, {"garden_daisy": 0.99}, ())
    found = identify(own, {"leaf_build": ("simple",)}, photos)
    assert found.candidates[0].species == "garden_daisy" and found.probability is not None
    assert found.probability > 0.95 and found.status == "likely"
    (folder / "garden_daisy.yaml").write_text("common_names: garden daisy\n", encoding="utf-8")
    with pytest.raises(SwardkeyError, match=r"garden_daisy\.yaml: common_names"):
        load_key()
