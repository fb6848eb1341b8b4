"""Where a photo was taken, and by whose camera: nothing of it is kept or said."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.security.picture_parts import saved
from tests.security.privacy import PLACES, Search, Secret, picture_of, search_all


def test_nothing_of_what_was_planted_is_stored_or_said(tmp_path: Path) -> None:
    """Some of each place; ``python -m tests.security.privacy`` plants in 500 photos."""
    search = search_all(tmp_path, len(PLACES), 1)
    assert search.found == []
    assert search.pictures > len(PLACES) and search.files > search.pictures


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
