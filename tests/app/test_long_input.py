"""Names, words and paths as only a stranger gives them: an answer in moments, and one sentence."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from app.command_line import main
from app.services.home import home
from app.services.reply import reply_text
from app.web import api
from app.web.frame import FormError
from app.web.uploads import Uploads
from model.errors import AnswerError, SwardkeyError, nearest
from model.flora.name import LONGEST, MOST_WORDS, PlantNames
from model.identify import Key

LONG = "xy" * 50_000
SECONDS = 5.0  # each took minutes; now it takes a hundredth of a second


@pytest.fixture(scope="module")
def names(key: Key) -> PlantNames:
    return PlantNames(key.flora)


@pytest.mark.parametrize("ask", ["the_plants", "the_species", "the_usual"])
def test_a_name_without_end_is_refused_in_moments(ask: str, names: PlantNames) -> None:
    begun = time.process_time()
    with pytest.raises(AnswerError, match=f"is too long for the name of a plant; give at most {LONGEST}") as refused:
        getattr(names, ask)(LONG)
    assert time.process_time() - begun < SECONDS and len(str(refused.value)) < 200
    assert names.near(LONG) == ""


def test_words_without_end_are_refused_in_moments(names: PlantNames) -> None:
    begun = time.process_time()
    with pytest.raises(AnswerError, match="give at most"):
        names.the_plants_in(["xylem"] * 1000)
    with pytest.raises(AnswerError):
        names.the_plants_in(["xylem"] * MOST_WORDS)
    nearest(LONG, ["xy" * 20] * 2000)
    assert time.process_time() - begun < SECONDS


@pytest.mark.parametrize("name", ["lawn", "cultivar", "place", "stage", "state"])
@pytest.mark.parametrize("value", [7, True, ["NSW"], {"a": 1}, LONG])
def test_the_api_says_of_a_word_that_is_none_what_is_wrong(name: str, value: Any) -> None:
    with pytest.raises((ValidationError, SwardkeyError)) as refused:
        api._advise(["bindii"], {"month": 7, "lawn": "buffalo", "together": False, name: value})
    assert LONG not in str(refused.value)


def test_an_upload_by_half_a_character_is_none(tmp_path: Path) -> None:
    with pytest.raises(FormError, match="did not arrive"):
        Uploads(tmp_path).find(f"{tmp_path}/\ud800")


def test_the_home_of_nobody_is_a_folder_like_any_other(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(AnswerError, match="is no file and no reply"):
        reply_text("~nobody-of-this-name/reply.txt")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("SWARDKEY_HOME", "~nobody-of-this-name/lawns")
    assert home() == Path("~nobody-of-this-name/lawns")
    with pytest.raises(SystemExit) as ended:
        main(["records", "clients"])
    assert ended.value.code == 0, capsys.readouterr().err
