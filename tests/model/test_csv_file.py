"""A CSV file that only grows: a row is there whole, or not at all."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from model.csv_file import GrowingFile
from tests.security.kill_points import kill_points, refuse


def test_what_the_disk_refuses_of_a_row_is_not_there_and_not_tried_again(tmp_path: Path) -> None:
    file = GrowingFile(tmp_path / "rows.csv", ("a", "b"))
    file.append(("1", "2"))
    before = file.path.read_bytes()
    with kill_points(tmp_path, "fsync rows.csv", refuse(errno.ENOSPC)), pytest.raises(OSError, match="No space"):
        file.append(("3", "4"))
    assert file.path.read_bytes() == before and not file.is_torn()
    file.append(("5", "6"))
    assert [cells for _, cells in file.new_rows()] == [["1", "2"], ["5", "6"]] and not file.torn.exists()


def test_a_row_that_a_crash_cut_short_is_set_aside_and_read_by_nobody(tmp_path: Path) -> None:
    file = GrowingFile(tmp_path / "rows.csv", ("a", "b"))
    file.append(("1", "2"))
    with file.path.open("ab") as torn:
        torn.write(b"3,")
    assert file.is_torn() and [cells for _, cells in file.new_rows()] == [["1", "2"]]
    file.append(("5", "6"))
    assert [cells for _, cells in file.new_rows()] == [["5", "6"]]
    assert file.torn.read_bytes() == b"3,\n" and file.path.read_bytes() == b"a,b\n1,2\n5,6\n"
