"""Learning, backups and the printed key in a browser on a phone: what a person sees while something takes long."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.app.test_collecting import save
from tests.browser.conftest import Served
from tests.browser.walking import Visitor


@pytest.fixture
def visitor(served: Served, browser: Any) -> Iterator[Visitor]:
    found = Visitor(browser, served.url)
    yield found
    assert found.faults == [] and found.elsewhere == []
    assert found.page.evaluate("document.documentElement.scrollWidth") <= found.width
    found.close()


def weeds(path: Path) -> Path:
    """A zip of folders: two that are on file, one that is not, and a photo that is blank."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        for seed, folder in enumerate(("dandelion", "capeweed", "curly dock")):
            save(path.parent / f"{seed}.jpg", 700 + seed)
            out.write(path.parent / f"{seed}.jpg", f"{folder}/{seed}.jpg")
        out.writestr("capeweed/blank.jpg", b"\xff\xd8\xff" + b"\0" * 3_000_000)
    return path


def test_a_zip_is_sorted_asked_about_and_checked_in_sight(visitor: Visitor, tmp_path: Path) -> None:
    page = visitor.page
    visitor.open("/training")
    page.set_input_files("input[type=file]", weeds(tmp_path / "weeds of the week.zip"))
    page.wait_for_selector("h2:has-text('1 name is not on file')")
    visitor.press("name", ".notice:has-text('say which weed it is')")
    assert page.locator(".notice").bounding_box()["width"] <= visitor.width, "it fits"
    page.check("fieldset:has-text('curly dock') input[value=rumex_crispus]", force=True)
    visitor.press("name", ".told-so:has-text('3 photos added')")
    assert page.locator(".notice:has-text('blank.jpg')").count() == 1
    visitor.press("check", "[data-progress]")
    page.wait_for_selector("[data-progress] .hint:has-text('so far')")
    page.wait_for_selector("h2:has-text('The check'):not(:has-text('running'))")


def test_a_backup_is_made_and_looked_at_and_nothing_is_restored_unasked(visitor: Visitor) -> None:
    visitor.open("/records?backup=list")
    visitor.press("make_backup", "h2:has-text('The backup is made')")
    name = str(visitor.page.locator(".dues .path").first.inner_text())
    assert re.fullmatch(r"swardkey-[0-9-]+\.zip", name)
    with visitor.page.expect_download() as saving:
        visitor.page.click(f'a[aria-label="Save {name}"]')
    assert zipfile.is_zipfile(saving.value.path())
    visitor.press("choose_backup", f"h2:has-text('Restore {name}?')", which=name)
    visitor.page.reload()
    visitor.page.wait_for_selector('button[data-do="restore"]')


def test_the_key_is_made_beside_the_page_and_then_saved(visitor: Visitor) -> None:
    visitor.open("/key?month=7")
    visitor.press("make", "h2:has-text('The key for July is ready')")
    with visitor.page.expect_download() as saving:
        visitor.page.click("a:has-text('Save the PDF')")
    assert Path(saving.value.path()).read_bytes().startswith(b"%PDF")
