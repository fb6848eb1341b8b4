"""What a photo tells the pages: its day, which is then left behind, and whether it shows a plant at all."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw

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


def test_the_same_pixels_are_one_photo_and_it_is_said(context: Context, tmp_path: Path) -> None:
    person, pixels = Person(context), Image.open(SAMPLE).resize((600, 500))
    for name in ("leaf.jpg", "copy.jpg"):
        out = io.BytesIO()
        pixels.save(out, "JPEG", comment=name.encode())
        upload(person, tmp_path, name, out.getvalue())
    assert "copy.jpg: is already here, as leaf.jpg" in person.text
    assert [shot.name for shot in draft_in(person).shots] == ["leaf.jpg"]


def noise() -> Image.Image:
    """No thing at all."""
    return Image.fromarray(np.random.default_rng(4).integers(0, 255, (600, 800, 3), np.uint8))


def face() -> Image.Image:
    """A face, drawn; by the learned plants alone it is most like a dandelion."""
    image = Image.new("RGB", (900, 700), (200, 180, 170))
    pen = ImageDraw.Draw(image)
    pen.ellipse((250, 100, 650, 600), fill=(230, 190, 160))
    for left in (340, 500):
        pen.ellipse((left, 250, left + 60, 300), fill=(40, 40, 60))
    pen.rectangle((380, 450, 520, 480), fill=(150, 40, 50))
    return image


@pytest.mark.parametrize("picture", [noise, face])
def test_what_shows_no_plant_is_said_to_look_like_none(
    context: Context, tmp_path: Path, picture: Callable[[], Image.Image]
) -> None:
    person, out = Person(context), io.BytesIO()
    picture().save(out, "JPEG")
    upload(person, tmp_path, "odd.jpg", out.getvalue())
    person.press("look")
    work = person.text.split('id="work"')[1]
    assert "look like none of the 11 plants" in work and "no plant at all" in work
    assert "/flora?species=" not in work and "%" not in work
