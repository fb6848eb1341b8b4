"""Files that others may have made are read only when they are ordinary."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from model.file import check_ordinary, read_file


def test_an_ordinary_file_is_read_whole_and_a_larger_one_refused(tmp_path: Path) -> None:
    file = tmp_path / "a"
    file.write_bytes(b"x" * 3000)
    assert read_file(file, 3000) == b"x" * 3000 and check_ordinary(file, 3000, links=False) == 3000
    with pytest.raises(OSError, match="is over 2 kB, too large"):
        read_file(file, 2999)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="without pipes as files, one that hangs the tool goes unseen")
def test_pipes_devices_and_folders_are_refused_without_being_opened(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "pipe", Path("/dev/zero"), tmp_path):
        with pytest.raises(OSError, match="not an ordinary file"):
            read_file(path, 10)


def test_a_link_is_followed_only_where_that_is_meant(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"x")
    (tmp_path / "b").symlink_to("a")
    assert read_file(tmp_path / "b", 10) == b"x"
    with pytest.raises(OSError, match="is a link"):
        read_file(tmp_path / "b", 10, links=False)
