"""Where a photo was taken, and by whose camera: nothing of it is kept or said."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.security.picture_parts import saved
from tests.security.privacy import PLACES, Search, Secret, picture_of, search_all
from tests.security.shut_in import HELD_BACK
from tests.security.visitor import PHOTO, ROOT


def test_nothing_of_what_was_planted_is_stored_or_said(tmp_path: Path) -> None:
    """Some of each place; ``python -m tests.security.privacy`` plants in 500 photos."""
    search = search_all(tmp_path, len(PLACES), 1)
    assert search.found == []
    assert search.pictures > len(PLACES) and search.files > search.pictures


def test_looking_at_a_photo_leaves_no_number_of_this_machine_and_no_report_to_be_sent(tmp_path: Path) -> None:
    """The library that runs the networks writes both for its maker, unless it is told not to before it is loaded."""
    places = {name: str(tmp_path) for name in ("HOME", "USERPROFILE", "LOCALAPPDATA", "TMPDIR", "SWARDKEY_HOME")}
    environment = {name: value for name, value in os.environ.items() if name not in HELD_BACK} | places
    code = f"""
from app.services.photo_model import active_photo_model
from model.photo.sandbox import open_photo
print(len(active_photo_model().look([open_photo({str(PHOTO)!r})]).photos))
"""
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=environment, capture_output=True, text=True)
    assert done.stdout.strip() == "1", done.stderr
    left = [path.relative_to(tmp_path) for path in tmp_path.rglob("*") if path.is_file()]
    assert [path for path in left if path.parts[0] != "cache"] == []


def test_only_one_module_loads_that_library() -> None:
    """Wherever else it were loaded first, it would have asked already whether it may report."""
    sources = [file for name in ("app", "model", "training", "tests") for file in (ROOT / name).rglob("*.py")]
    loads = re.compile(r"^\s*(import|from) onnxruntime", re.MULTILINE)
    found = [file.relative_to(ROOT).as_posix() for file in sources if loads.search(file.read_text(encoding="utf-8"))]
    assert found == ["model/photo/runtime.py"]


@pytest.mark.parametrize("place", PLACES)
def test_the_search_finds_what_is_planted(place: str) -> None:
    """Or else it would prove nothing."""
    secret = Secret(7)
    search = Search()
    search.look("an original", PLACES[place](saved(picture_of(7)), secret), secret.needles())
    assert search.found


def test_the_search_finds_segments_that_a_stored_picture_need_not_have() -> None:
    search = Search()
    search.look("clean", saved(), ())
    assert search.found == []
    for options in ({"comment": b"x"}, {"exif": b"Exif\0\0x"}, {"icc_profile": b"x" * 200}):
        search = Search()
        search.look("with more", saved(**options), ())
        assert search.found
    search.look("a tail", saved() + b"\0", ())
    assert len(search.found) == 2
