"""The card of a model that was trained on open photos: whom to credit, and sources by their hosts."""

from __future__ import annotations

from pathlib import Path

from training.collection.credits import NOT_STATED, creators_as_markdown, creators_by_licence
from training.data.manifest import LabelledPhoto


def photo(number: int, creator: str = "Kim", licence: str = "CC BY 4.0", source: str = "") -> LabelledPhoto:
    page = source or f"https://photos.example/{number}"
    return LabelledPhoto(Path(f"{number}.jpg"), f"{number}.jpg", "poa_annua", "g", True, page, creator, licence)


PHOTOS = (
    photo(1, "Lee"), photo(2), photo(3), photo(4, licence="CC0"), photo(5, ""), photo(6, "Sam", "", "my photos"),
    photo(7, "<b>[x](y)</b>", "CC BY-SA 4.0"),
)  # fmt: skip


def test_creators_stand_under_their_licences_with_counts_and_own_photos_credit_nobody() -> None:
    found = creators_by_licence(PHOTOS)
    assert list(found) == ["CC BY 4.0", "CC BY-SA 4.0", "CC0"]
    assert list(found["CC BY 4.0"].items()) == [("Kim", 2), (NOT_STATED, 1), ("Lee", 1)]
    text = creators_as_markdown(found)
    assert "[CC BY 4.0](https://creativecommons.org/licenses/by/4.0/): Kim (2), creator not stated (1)" in text
    assert "<" not in text and "Sam" not in text
    assert creators_as_markdown(creators_by_licence([photo(1, licence="")])) == ""


def test_photos_with_a_page_each_are_one_source_by_its_host() -> None:
    assert {one.origin for one in PHOTOS} == {"photos.example", "my photos"}
    assert photo(1, source="http://[broken").origin == "http://[broken"
