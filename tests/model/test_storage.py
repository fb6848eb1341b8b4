"""Files that are written beside their place: there in the end, or not at all."""

from __future__ import annotations

import errno
import io
import os
from pathlib import Path

import pytest

from model.errors import ModelError
from model.storage import beside, in_a_sentence, replace_file, write_all


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
