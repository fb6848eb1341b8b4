"""A CSV file that only grows: a row is there whole, or not at all."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from model.csv_file import GrowingFile


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
