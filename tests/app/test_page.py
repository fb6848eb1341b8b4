"""The web page: its handlers as plain functions, and that it is served on loopback only."""

from __future__ import annotations

import urllib.request
from pathlib import Path
from typing import Any

import gradio as gr
import pytest

from app.web.page import Page, build_page, new_session, serve_options
from model.identify import Key

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def page(key: Key) -> Page:
    return Page(key)


def finding_of(step: tuple[Any, ...], offset: int = 1) -> str:
    return str(step[offset])


def test_answers_lead_step_by_step_to_another_question_and_back_returns_exactly(page: Page) -> None:
    start = new_session()
    first = page.interview(start).question
    assert first is not None
    one = page.unsure(start)
    second = page.interview(one[0]).question
    assert second is not None and second.character.id != first.character.id
    back = page.back(one[0])
    assert back[0]["answers"] == {}
    assert back[1:] [:3] == page.show(start)[:3]  # fmt: skip


def test_answering_needs_an_answer(page: Page) -> None:
    with pytest.raises(gr.Error, match="Choose an answer first"):
        page.answer([], None, new_session())


def test_a_file_that_is_no_photo_is_one_sentence_without_its_path(page: Page, tmp_path: Path) -> None:
    path = tmp_path / "weed.jpg"
    path.write_text("words")
    with pytest.raises(gr.Error) as error:
        page.look([str(path)], new_session())
    assert str(error.value.message).startswith("weed.jpg: is not a photo")


def test_a_photo_gives_a_ranking_and_start_again_forgets_it(page: Page) -> None:
    step = page.look([str(ROOT / "sample_images" / "taraxacum_officinale_flowering_3.jpg")], new_session())
    assert step[0]["photos"] is not None and len(step[1]) == 1
    assert "By photo alone" in step[3]
    assert page.start_again()[0] == new_session()


def test_notes_on_a_photo_name_the_file_and_not_the_folder_it_was_put_in(page: Page, tmp_path: Path) -> None:
    from PIL import Image

    path = tmp_path / "flat.png"
    Image.new("RGB", (300, 300), (90, 120, 60)).save(path)
    text = str(page.look([str(path)], new_session())[2])
    assert "flat.png: nothing can be made out" in text and str(tmp_path) not in text


def test_names_are_escaped(page: Page) -> None:
    from app.web.panels import _bar_row

    assert "<script>" not in _bar_row("<script>", "<b>", 0.5, None)


def test_the_page_is_served_on_loopback_only_and_names_no_other_host(key: Key) -> None:
    options = serve_options()
    assert options["server_name"] == "127.0.0.1" and options["share"] is False and options["allowed_paths"] == []
    blocks = build_page(key)
    _, url, _ = blocks.launch(**options, prevent_thread_lock=True, quiet=True)
    try:
        with urllib.request.urlopen(url, timeout=20) as answer:
            text = answer.read().decode()
    finally:
        blocks.close()
    assert url.startswith("http://127.0.0.1")
    assert "swardkey" in text
    assert "fonts.googleapis.com/css" not in text
