"""The contact sheet of `collect check`, decided on in a browser."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from training.audit import read_decisions
from training.audit.report import Question
from training.audit.sheet import Words, write_sheet

NAMES = {"poa_annua": "winter grass (Poa annua)", "soliva_sessilis": "bindii (Soliva sessilis)"}


@pytest.mark.parametrize("typed", ["bindii (Soliva sessilis)", " Bindii (soliva sessilis)", "soliva_sessilis"])
def test_another_species_is_chosen_by_its_name_and_saved_by_its_id(browser: Any, tmp_path: Path, typed: str) -> None:
    sheet, saved = tmp_path / "sheet.html", tmp_path / "sheet.csv"
    write_sheet(
        sheet, [Question("a.jpg", "poa_annua", "", None, "label", "doubtful")], {}, Words(NAMES.__getitem__, [*NAMES])
    )
    page = browser.new_page(accept_downloads=True)
    page.goto(sheet.as_uri())
    page.get_by_label("Decision on a.jpg").select_option("other")
    page.get_by_label("Species").fill("no plant")
    assert page.get_by_role("button").is_disabled() and "choose a species" in page.locator("output").inner_text()
    page.get_by_label("Species").fill(typed)
    with page.expect_download() as download:
        page.get_by_role("button").click()
    download.value.save_as(saved)
    (decision,) = read_decisions(saved, NAMES, {"a.jpg": "poa_annua"})
    assert (decision.action, decision.species) == ("relabel", "soliva_sessilis")
    page.close()
