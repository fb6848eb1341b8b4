"""Ask the sender on the pages: from any question and from the finding, and the reply that is pasted back."""

from __future__ import annotations

import html
import re
import shutil
from pathlib import Path
from urllib.parse import unquote

import pytest

from app.services.reply import sign_of
from app.web.context import Context
from app.web.draft import Draft
from app.web.files import ADDRESSES
from app.web.sender import request_file
from model.control import Control
from model.errors import AnswerError
from model.identify import Key
from tests.app.page_visitor import Person, context_of
from tests.browser.walking import PHOTO

ITEMS = "see/leaves+flowers,leafbuild/simple,leafedge/unsure,growthhabit/rosette,"
REPLY = f"swardkey 1: {ITEMS} sign/{sign_of(ITEMS)}"


@pytest.fixture
def context(key: Key, control: Control) -> Context:
    return context_of(key, control)


def draft_in(person: Person) -> Draft:
    draft = person.context.drafts.read(person.plant)
    assert draft is not None
    return draft


def test_the_sender_is_asked_before_anything_is_answered(context: Context) -> None:
    person = Person(context).press("look", month="10").press("ask_sender")
    assert person.title == "Ask the sender" and draft_in(person).asking == "sender"
    message = re.search(r'<textarea id="f-message" readonly[^>]*>([^<]+)', person.text)
    mail = re.search(r'href="mailto:\?body=([^"]+)"', person.text)
    assert message is not None and mail is not None and "And please answer:" in message[1]
    assert unquote(mail[1]).splitlines() == html.unescape(message[1]).splitlines()
    assert b"<legend>" in request_file(context, draft_in(person))
    assert list(ADDRESSES).index("/paper/{plant}/questions.html") < list(ADDRESSES).index("/paper/{plant}/{kind}")
    assert Person(context, {"plant": person.plant}).title == "Ask the sender", "after a reload too"
    assert person.press("back").title == "What can you see or reach?"


def test_a_reply_goes_into_the_answers_and_its_effect_is_said(context: Context) -> None:
    person = Person(context).press("look", month="10").press("ask_sender")
    person.press("take_reply", reply=f"> {REPLY}")
    assert person.faults == [] and person.asked() and draft_in(person).asking == ""
    assert draft_in(person).answers == {"leaf_build": ("simple",), "leaf_edge": (), "growth_habit": ("rosette",)}
    assert draft_in(person).visible == ("leaves", "flowers")
    assert re.match(r"The reply is in: 3 answers\. Before: undecided\. Now: undecided[^.]*\.$", person.notices[0])
    before = draft_in(person)
    person.press("ask_sender").press("take_reply", reply=REPLY.replace("simple", "feather"))
    assert "was altered on its way" in person.faults[0] and draft_in(person).answers == before.answers
    assert "Paste the text" in person.press("take_reply", reply=" ").faults[0]
    assert person.title == "Ask the sender"


def test_an_answer_that_is_replaced_is_named(context: Context) -> None:
    person = Person(context).press("look", month="10").see("leaves")
    person.press("answer", "leaf_build", state="grassy").press("ask_sender").press("take_reply", reply=REPLY)
    assert "Your answer was: a long narrow blade, veins running side by side." in person.notices[0]
    assert draft_in(person).answers["leaf_build"] == ("simple",)


def test_the_sender_is_asked_from_the_finding_and_not_about_a_confirmed_name(context: Context) -> None:
    person = Person(context).press("look", month="7").see("leaves")
    while person.asked():
        person.press("unsure", person.asked())
    person.press("conclude")
    assert 'data-do="ask_sender"' in person.text and person.press("ask_sender").title == "Ask the sender"
    sure = Person(context).press("look", month="10").prove()
    assert 'data-do="ask_sender"' not in sure.text
    assert "nothing to ask" in sure.press("ask_sender").faults[0]
    with pytest.raises(AnswerError):
        request_file(context, draft_in(sure))


def test_the_sender_is_asked_right_from_the_photo(context: Context, tmp_path: Path) -> None:
    person = Person(context).add_photos(Path(shutil.copy(PHOTO, tmp_path)))
    assert person.title == "What it could be"
    assert person.press("ask_sender").title == "Ask the sender"
