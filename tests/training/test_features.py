"""Features that are kept: computed once a photo, and again where what was kept is damaged or cannot be."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from safetensors import SafetensorError

from tests.app.record_book import photo as made_photo
from training.data.features import features_of
from training.data.manifest import LabelledPhoto


class Network:
    """Counts how often it looks."""

    name = "made-up"
    looks = 0

    def features_of_views(self, stacks: object) -> np.ndarray:
        self.looks += 1
        return np.full(1280, float(self.looks))

    @property
    def parts(self) -> tuple[Network, ...]:
        return (self,)


@pytest.fixture
def two_photos(tmp_path: Path) -> list[LabelledPhoto]:
    return [
        LabelledPhoto(made_photo(tmp_path / f"{n}.jpg", n), f"{n}.jpg", "poa_annua", "one", True, "test", "", "")
        for n in (1, 2)
    ]


@pytest.mark.parametrize("damage", [b"", b"\x10\x00", b"\xff" * 200])
def test_a_damaged_cache_is_as_good_as_none(two_photos: list[LabelledPhoto], tmp_path: Path, damage: bytes) -> None:
    cache, network = tmp_path / "cache" / "features.safetensors", Network()
    features_of(two_photos, cache, extractor=network)  # type: ignore[arg-type]
    cache.write_bytes(damage)
    x, notes = features_of(two_photos, cache, extractor=network)  # type: ignore[arg-type]
    assert network.looks == 4 and notes == ["", ""] and np.isfinite(x).all()
    features_of(two_photos, cache, extractor=network)  # type: ignore[arg-type]
    assert network.looks == 4


def test_what_another_program_kept_meanwhile_stays(two_photos: list[LabelledPhoto], tmp_path: Path) -> None:
    cache, network = tmp_path / "features.safetensors", Network()

    def other(done: int, of: int) -> None:
        if of == 1:
            return
        features_of(two_photos[1:], cache, extractor=network)  # type: ignore[arg-type]

    features_of([two_photos[0]] * 2, cache, other, network)  # type: ignore[arg-type]
    assert network.looks == 2
    features_of(two_photos, cache, extractor=network)  # type: ignore[arg-type]
    assert network.looks == 2 and not list(tmp_path.glob(".*"))


def test_features_are_computed_where_they_cannot_be_kept(
    two_photos: list[LabelledPhoto], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise SafetensorError("No space left on device")

    monkeypatch.setattr("training.data.features.save_file", full)
    (tmp_path / "file").write_text("in the way")
    for cache in (tmp_path / "features.safetensors", tmp_path / "file" / "features.safetensors"):
        x, notes = features_of(two_photos, cache, extractor=Network())  # type: ignore[arg-type]
        assert np.isfinite(x).all() and notes == ["", ""] and not list(tmp_path.glob("*features*"))
