"""How long people wait, measured on the machine that the tests run on. Limits are several times the aims."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from PIL import Image

from tests.browser.conftest import Served
from tests.browser.walking import PHOTO, Visitor

# Aims on an idle laptop: 5 s, 1 s and 0.2 s. Machines that test are busy, so that only a collapse fails.
SLACK = 8


def test_first_page_photo_and_question_come_in_time(served: Served, browser: Any, capsys: Any, tmp_path: Path) -> None:
    visitor = Visitor(browser, served.url)
    visitor.open()
    visitor.add_photo()
    visitor.press("remove", ".tips")
    begun = time.monotonic()
    visitor.add_photo()
    visitor.press("look", ".ranks")
    photo = time.monotonic() - begun
    visitor.press("ask", ".ask")
    large = tmp_path / "large.jpg"
    with Image.open(PHOTO) as small:
        small.resize((4032, 3024), Image.Resampling.BICUBIC).save(large, quality=92)
    visitor.press("go", ".tips, .shots", "photos")
    begun = time.monotonic()
    visitor.add_photo(large)
    visitor.press("look", ".ranks")
    twelve = time.monotonic() - begun
    visitor.press("ask", ".ask")
    questions = []
    for _ in range(3):
        begun = time.monotonic()
        visitor.answer()
        questions.append(time.monotonic() - begun)
    visitor.close()
    question = sorted(questions)[len(questions) // 2]
    figures = {
        "first page": served.ready,
        "photo to candidates": photo,
        "of 12 megapixels": twelve,
        "next question": question,
    }
    with capsys.disabled():
        print("\n", {name: round(value, 2) for name, value in figures.items()}, "seconds")
    assert served.ready < 5 * SLACK
    assert photo < 1 * SLACK and twelve < 1 * SLACK
    assert question < 0.2 * SLACK
