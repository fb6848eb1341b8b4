"""What a photo tells the pages: its day, which is then left behind, and whether it shows a plant at all."""

from __future__ import annotations

import io
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from app.present.finding import day_text
from app.web.context import Context
from app.web.lawn_page import case_of
from app.web.steps import MODULES
from model.control import Control
from model.identify import Key
from tests.app.page_visitor import Person, context_of
from tests.app.test_page import SAMPLE, upload
from tests.app.test_page_questions import draft_in


@pytest.fixture
def context(key: Key, control: Control) -> Context:
    return context_of(key, control)


def taken_at(day: date) -> bytes:
    """A JPEG whose metadata tell the day it was taken."""
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = f"{day:%Y:%m:%d} 10:20:30"
    out = io.BytesIO()
    Image.open(SAMPLE).resize((600, 500)).save(out, "JPEG", exif=exif)
    return out.getvalue()


def test_the_day_of_the_photo_sets_month_and_visit_and_is_left_behind(context: Context, tmp_path: Path) -> None:
    person, day = Person(context), date.today() - timedelta(days=200)
    upload(person, tmp_path, "never_set.jpg", taken_at(date(1999, 1, 1)))
    assert person.title == "What it could be", "a photo without fault leads on"
    assert draft_in(person).taken == "" and draft_in(person).month == date.today().month
    upload(person, tmp_path, "weed.jpg", taken_at(day))
    draft = draft_in(person)
    assert (draft.taken, draft.month) == (day.isoformat(), day.month)
    assert f"taken on {day_text(day)}" in person.text
    for kept in context.drafts.photos(person.plant).iterdir():
        assert not Image.open(kept).getexif()
    # The plan is for the month of the work.
    assert case_of(context, draft).month == date.today().month
    shown = MODULES["record"].show(context, draft)
    assert shown["given"]["day"] == day.isoformat()


def test_what_shows_no_plant_is_said_to_look_like_none(context: Context, tmp_path: Path) -> None:
    person = Person(context)
    noise = np.random.default_rng(4).integers(0, 255, (600, 800, 3), np.uint8)
    out = io.BytesIO()
    Image.fromarray(noise).save(out, "JPEG")
    upload(person, tmp_path, "noise.jpg", out.getvalue())
    person.press("look")
    assert "look like none of the 11 plants" in person.text and "no plant at all" in person.text
    assert "/flora?species=" not in person.text and "%" not in person.text.split('id="work"')[1]
