"""Files that are written beside their place: there in the end, or not at all."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from training.durable import beside
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
    (tmp_path / ".book.new").write_text("left by a crash")
    with pytest.raises(type(why)), beside(file) as unfinished:
        assert not unfinished.exists()
        unfinished.write_text("half")
        raise why
    assert file.read_text() == "old" and list(tmp_path.iterdir()) == [file]


def test_a_photo_is_known_by_its_content(tmp_path: Path) -> None:
    file = tmp_path / "a.jpg"
    file.write_bytes(b"pixels")
    photo = LabelledPhoto(file, "a.jpg", "poa_annua", "one", True, "test", "", "")
    assert photo.sha256 == hashlib.sha256(b"pixels").hexdigest()
    assert photo == LabelledPhoto(file, "a.jpg", "poa_annua", "one", True, "test", "", "")
