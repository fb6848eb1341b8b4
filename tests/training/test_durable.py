"""Files that are written beside their place: there in the end, or not at all."""

from __future__ import annotations

import errno
import hashlib
import io
import os
from pathlib import Path

import numpy as np
import pytest
from safetensors import SafetensorError

from model.errors import ModelError
from tests.app.record_book import photo as made_photo
from training.collection.rows import GrowingFile
from training.durable import beside, in_a_sentence, replace_file, write_all
from training.features import features_of
from training.manifest import LabelledPhoto


def test_a_file_written_beside_takes_its_place_when_all_went_well(tmp_path: Path) -> None:
    file = tmp_path / "book"
    file.write_text("old")
    with beside(file) as unfinished:
        unfinished.write_text("new")
        assert file.read_text() == "old"
    assert file.read_text() == "new" and list(tmp_path.iterdir()) == [file]


@pytest.mark.parametrize("why", [OSError("disk full"), KeyboardInterrupt()])
def test_what_was_there_stays_when_something_goes_wrong(tmp_path: Path, why: BaseException) -> None:
    file = tmp_path / "book"
    file.write_text("old")
    with pytest.raises(type(why)), beside(file) as unfinished:
        assert not unfinished.exists()
        unfinished.write_text("half")
        raise why
    assert file.read_text() == "old" and list(tmp_path.iterdir()) == [file]


def test_two_programs_that_write_one_file_do_not_write_to_the_same(tmp_path: Path) -> None:
    file = tmp_path / "book"
    with beside(file) as one, beside(file) as other:
        one.write_text("one")
        other.write_text("other")
        replace_file(file, b"a third")
        assert (one.read_text(), other.read_text(), file.read_text()) == ("one", "other", "a third")
    assert file.read_text() == "one" and list(tmp_path.iterdir()) == [file]


def test_what_a_crash_left_is_taken_away_once_nobody_can_be_writing_to_it(tmp_path: Path) -> None:
    left = [tmp_path / name for name in (".book.new", ".0123abcd.book.new")]
    others = [tmp_path / name for name in (".mybook.new", "book.new", ".89abcdef.book.new")]
    for path in (*left, *others):
        path.write_text("half")
    for path in (*left, *others[:2]):
        os.utime(path, (1e9, 1e9))
    replace_file(tmp_path / "book", b"new")
    assert sorted(tmp_path.iterdir()) == sorted([*others, tmp_path / "book"])


def test_a_photo_is_known_by_its_content(tmp_path: Path) -> None:
    file = tmp_path / "a.jpg"
    file.write_bytes(b"pixels")
    photo = LabelledPhoto(file, "a.jpg", "poa_annua", "one", True, "test", "", "")
    assert photo.sha256 == hashlib.sha256(b"pixels").hexdigest()
    assert photo == LabelledPhoto(file, "a.jpg", "poa_annua", "one", True, "test", "", "")


def test_what_the_disk_refuses_of_a_row_is_not_there_and_not_tried_again(tmp_path: Path) -> None:
    def refuse(point: str) -> None:
        if point == "rows.csv half written":
            raise OSError(errno.ENOSPC, "full")

    file = GrowingFile(tmp_path / "rows.csv", ("a", "b"))
    file.append(("1", "2"))
    before = file.path.read_bytes()
    with pytest.raises(OSError, match="full"):
        GrowingFile(file.path, file.columns, refuse).append(("3", "4"))
    assert file.path.read_bytes() == before and not file.is_torn()
    file.append(("5", "6"))
    assert [cells for _, cells in file.new_rows()] == [["1", "2"], ["5", "6"]] and not file.torn.exists()


def test_all_is_written_where_the_system_takes_it_in_parts() -> None:
    class Slow(io.RawIOBase):
        got = b""

        def write(self, data: object) -> int:
            self.got += bytes(data)[:3]  # type: ignore[call-overload]
            return min(3, len(data))  # type: ignore[arg-type]

    slow = Slow()
    write_all(slow, b"0123456789")
    assert slow.got == b"0123456789"


def test_what_the_disk_refuses_in_a_training_is_one_sentence() -> None:
    @in_a_sentence()
    def work() -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), "/full/features")

    with pytest.raises(ModelError, match=r"^/full/features: No space left on device; make room .* goes on") as told:
        work()
    assert "\n" not in str(told.value)


# Features that are kept


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

    monkeypatch.setattr("training.features.save_file", full)
    (tmp_path / "file").write_text("in the way")
    for cache in (tmp_path / "features.safetensors", tmp_path / "file" / "features.safetensors"):
        x, notes = features_of(two_photos, cache, extractor=Network())  # type: ignore[arg-type]
        assert np.isfinite(x).all() and notes == ["", ""] and not list(tmp_path.glob("*features*"))
