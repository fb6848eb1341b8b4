"""What is asked of whoever has the plant: a message, the photos that show it, and a page of one file."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest

from app.figures.line_drawings import line_drawing
from app.papers.reply_sheet import MOST_BYTES, reply_sheet
from app.present.requested import request_message
from app.services.reply import letters
from app.services.requesting import MOST_PHOTOS, Request, load_wanted_photos, photos_for, request_of
from model.errors import AnswerError
from model.flora.character import PARTS
from model.flora.load import load_characters
from model.identify import Key
from model.interview import Interview
from tests.app.conftest import Run
from tests.app.page_visitor import typical

CHARACTERS = load_characters()


def begun(key: Key, species: str = "hypochaeris_radicata") -> Interview:
    """An interview that has come to look-alikes."""
    interview, sees = Interview(key, month=10, visible=("leaves", "flowers")), typical(key, species)
    for _ in range(4):
        if (question := interview.question) is not None:
            interview = interview.answer(question.character.id, sees.get(question.character.id, "unsure"))
    return interview


def test_each_character_has_its_photo_or_none_can_show_it() -> None:
    wanted = load_wanted_photos()
    placed = [name for photo in wanted.photos.values() for name in photo.shows] + list(wanted.unseen)
    assert sorted(placed) == sorted(CHARACTERS)


def test_photos_are_few_each_once_and_of_what_is_asked() -> None:
    asked = [CHARACTERS[name] for name in ("leaf_underside", "leaf_edge", "leaf_outline", "flower_colour", "racemes")]
    with_none, with_one = photos_for(asked, False), photos_for(asked, True)
    assert len(with_none) == len(with_one) == MOST_PHOTOS and len(set(with_one)) == MOST_PHOTOS
    assert with_one[0] == "the underside of one leaf, filling the picture" == with_none[1]
    assert photos_for([CHARACTERS["crushed_smell"]], True) == ()


def test_the_message_asks_and_names_no_plant(key: Key) -> None:
    interview = begun(key)
    request = request_of(interview)
    text = request_message(request)
    assert 2 <= len(request.questions) <= 4 and request.visible == ("leaves", "flowers")
    for question in request.questions:
        assert f"- {question.question} {question.look}" in text and question.id not in interview.answers
    for photo in request.photos:
        assert photo[1:] in text
    sheet = reply_sheet(request).decode()
    assert f"Made on {date.today().day} {date.today():%B %Y}" in sheet
    for candidate in interview.finding.candidates:
        for name in (candidate.common_name, candidate.scientific_name):
            assert name.lower() not in f"{text} {sheet}".lower(), name
    assert "leaves, flowers, ripe seed" in request_message(request_of(Interview(key)))


def test_a_part_that_may_not_be_there_is_asked_about_on_condition() -> None:
    asked = tuple(CHARACTERS[name] for name in ("leaf_edge", "flower_colour", "underground"))
    for visible, conditions in {None: 2, ("leaves",): 2, ("leaves", "flowers"): 1, PARTS: 0}.items():
        request = Request(asked, (), visible)
        text, sheet = request_message(request), reply_sheet(request).decode()
        assert text.count("- If ") == sheet.count("<small>If ") == conditions


def test_nothing_is_asked_about_a_name_that_is_confirmed(key: Key) -> None:
    interview, sees = Interview(key, month=10, visible=PARTS), typical(key)
    while (question := interview.question) is not None:
        interview = interview.answer(question.character.id, sees.get(question.character.id, "unsure"))
    assert interview.finding.status == "confirmed"
    with pytest.raises(AnswerError, match="nothing to ask"):
        request_of(interview)


def test_the_page_is_one_small_file_that_asks_nothing_of_the_network() -> None:
    heaviest = sorted(CHARACTERS.values(), key=lambda one: -sum(len(line_drawing(one.id, s).svg) for s in one.states))
    sheet = reply_sheet(Request(tuple(heaviest[:4]), ("a leaf",)))
    text = sheet.decode()
    assert len(sheet) < MOST_BYTES and "default-src 'none'" in text
    outside = re.sub(r'xmlns="[^"]+"', "", text)
    assert not re.search(r"https?:|//\w+\.|\bsrc=|\bhref=|url\(|@import|fetch\(|XMLHttp|localStorage|cookie", outside)
    assert '<html lang="en-AU">' in text and "<noscript>" in text


@pytest.mark.parametrize("kind", ["choice", "number", "month"])
def test_the_page_offers_every_answer_under_its_name_and_unsure(kind: str) -> None:
    for character in (one for one in CHARACTERS.values() if one.kind == kind):
        text = reply_sheet(Request((character,), (), PARTS)).decode()
        name = character.id.replace("_", "-")
        assert letters(character.id) == name.replace("-", "")
        offered = re.findall(rf'type="radio" name="{name}" value="([^"]+)"', text)
        assert sorted(offered) == sorted([*(state.replace("_", "-") for state in character.states), "unsure"])
        assert (f'name="{name}" class="value"' in text) == (kind != "choice")
        ids = re.findall(r' id="([^"]+)"', text)
        assert len(ids) == len(set(ids))


def test_the_command_writes_the_page_and_prints_the_message(run: Run, tmp_path: Path) -> None:
    out = tmp_path / "ask.html"
    said = run("request", "--month", "7", "--visible", "leaves", "--out", out)
    assert "And please answer:" in said.out and out.read_text(encoding="utf-8").startswith("<!doctype html>")
    found = run("request", "--month", "7", "--visible", "leaves", "--out", out, "--json").json
    assert set(found) == {"message", "questions", "photos", "file"} and found["message"] in said.out
    assert all(f"<legend>{one['text']}" in out.read_text(encoding="utf-8") for one in found["questions"])
    assert "must end in .html" in run("request", "--out", tmp_path / "ask.txt").refusal
    assert "there is no folder" in run("request", "--out", tmp_path / "no" / "ask.html").refusal
