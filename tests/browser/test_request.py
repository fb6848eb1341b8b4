"""Ask the sender: the page for whoever has the plant, opened from disk, and its text in the page and the terminal."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

from app.papers.reply_sheet import reply_sheet
from app.services.reply import read_reply
from app.services.requesting import Request
from model.flora.character import PARTS
from model.flora.load import load_characters
from tests.browser.conftest import Served
from tests.browser.test_path import GRAVE, RULES, axe
from tests.browser.walking import ROOT, Visitor, plant_seen

__all__ = ["axe"]

DRAWN = "document.querySelectorAll('.question:not([hidden]) svg').length"

SHARED = """navigator.canShare = () => true;
navigator.share = async ({ text, files }) => (window.handed = [text, files[0].name, files[0].type]);"""


def as_a_mail(text: str) -> str:
    """The text as a mail program may deliver it: quoted, broken, with a capital, and a signature."""
    lines = re.findall(r".{1,30}", text[0].upper() + text[1:])
    return "Here it is!\n> “" + "\n> ".join(lines).replace("-", "\u2011") + "”\n\nSent from my phone, in Yass"


def violations(axe: Any, visitor: Visitor) -> list[str]:
    """What keeps some people from using the page as it stands."""
    found = axe.run(visitor.page, options=RULES).response["violations"]
    faults = [f"{fault['id']}: {node['html'][:120]}" for fault in found for node in fault["nodes"]]
    return [] if all(fault["impact"] not in GRAVE for fault in found) else faults


def answered(visitor: Visitor, file: Path) -> str:
    """Open the file from disk, tap what a dandelion shows, and copy the text."""
    page = visitor.page
    page.goto(file.as_uri())
    visitor.context.set_offline(True)
    assert page.inner_text("#count") == "Nothing is answered yet." and page.is_hidden("#done")
    for part in ("leaves", "flowers"):
        page.check(f"#see input[value={part}]")
    assert page.evaluate(DRAWN) > 8
    for question in page.locator(".question:visible").all():
        seen = plant_seen().get((question.get_attribute("data-name") or "").replace("-", "_"), "unsure")
        field = question.locator("input.value")
        if field.count() and seen != "unsure":
            field.fill("99999")
            assert "Write a number from" in question.inner_text()
            field.fill(seen)
        else:
            question.locator(f"input[value={seen.replace('_', '-')}]").check()
    count = page.locator(".question:visible").count()
    assert page.inner_text("#count") == f"{count} of {count} answered."
    assert not visitor.is_too_wide() and visitor.small_targets() == []
    told = page.input_value("#reply")
    page.reload()
    assert page.input_value("#reply") == told, "a phone drops the page while the camera is used"
    page.click("#copy")
    page.wait_for_selector("#copied:has-text('Copied')")
    return str(page.input_value("#reply"))


def test_the_reply_leads_to_the_same_name_on_the_page_and_in_the_terminal(
    served: Served, browser: Any, tmp_path: Path, axe: Any
) -> None:
    visitor = Visitor(browser, served.url)
    visitor.page.add_init_script(SHARED)
    visitor.open()
    visitor.page.select_option("#f-month", "10")
    visitor.press("look", ".seen")
    visitor.press("ask_sender", "#f-message")
    assert visitor.title() == "Ask the sender" and not visitor.is_too_wide() and visitor.small_targets() == []
    assert violations(axe, visitor) == []
    visitor.page.click("[data-share]")
    visitor.page.wait_for_function("window.handed")
    message = visitor.page.input_value("#f-message")
    assert visitor.page.evaluate("handed") == [message, "questions.html", "text/html"]
    with visitor.page.expect_download() as saving:
        visitor.page.click("a[download]")
    file = tmp_path / saving.value.suggested_filename
    saving.value.save_as(file)
    assert file.stat().st_size < 300_000 and "dandelion (" not in file.read_text(encoding="utf-8")

    sender = Visitor(browser, "file://", "phone")
    text = answered(sender, file)
    assert violations(axe, sender) == []
    assert sender.faults == [] and sender.elsewhere == []
    sender.close()

    visitor.page.fill("#f-reply", as_a_mail(text[:-1]))
    visitor.press("take_reply", ".notice")
    assert "cut off, or was altered" in visitor.page.inner_text(".notice")
    visitor.page.fill("#f-reply", as_a_mail(text))
    visitor.press("take_reply", ".told-so")
    now = re.search(r"Now: [^.]+", visitor.page.inner_text(".told-so"))
    assert now is not None and "Before: undecided." in visitor.page.inner_text(".told-so")
    assert visitor.faults == [] and visitor.elsewhere == []
    visitor.close()

    command = [
        sys.executable,
        "-c",
        "from app.command_line import main; main()",
        "ask",
        "--month",
        "10",
        "--reply",
        "-",
    ]
    environment = {**os.environ, "SWARDKEY_HOME": str(tmp_path / "home"), "COLUMNS": "200"}
    told = subprocess.run(
        command, input=as_a_mail(text), cwd=ROOT, env=environment, capture_output=True, text=True, check=True
    )
    assert now[0] in told.stdout


def test_a_plant_may_show_more_than_one_state_and_a_mistake_is_taken_back(browser: Any, tmp_path: Path) -> None:
    characters, file = load_characters(), tmp_path / "questions.html"
    file.write_bytes(reply_sheet(Request((characters["leaf_hairs"],), (), PARTS)))
    sender = Visitor(browser, "file://")
    sender.page.goto(file.as_uri())
    sender.page.check("input[value=none]")
    sender.page.check("input[value=soft]")
    assert read_reply(sender.page.input_value("#reply"), characters).answers == {"leaf_hairs": ("soft",)}
    sender.page.click(".more")
    assert sender.small_targets() == []
    sender.page.check("input[value=bristly]")
    sender.page.reload()
    assert read_reply(sender.page.input_value("#reply"), characters).answers == {"leaf_hairs": ("soft", "bristly")}
    sender.page.check("input[value=unsure]")
    assert read_reply(sender.page.input_value("#reply"), characters).answers == {"leaf_hairs": ()}
    sender.page.check("input[value=soft]")
    assert read_reply(sender.page.input_value("#reply"), characters).answers == {"leaf_hairs": ("soft",)}
    assert sender.faults == [] and sender.elsewhere == []
    sender.close()
