"""The papers as PDF: what stands on them, that their fonts are inside, and that no rate is ever ours."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from dataclasses import replace
from datetime import date, time
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from app.papers.advice_sheet import AdviceSheet, advice_paper
from app.papers.job_sheet import JobSheet, job_paper
from app.papers.key_sheet import key_paper
from app.papers.pdf import Head
from app.papers.record_sheet import record_paper
from app.papers.sheet import Sheet
from app.present.block import Bullets, Paragraph, Table, Ticks
from app.present.naming import Naming, how_sure, taken_for
from app.present.record import changes
from app.present.sums import sum_on_paper
from app.records.entries import Client, Current, Product, Reading, Signed, Site, Treatment
from app.records.law import union_of_fields
from model.control import Case, Control, plan
from model.identify import Key, identify
from model.mix import plan_tank, read_rate
from model.printed_key import make_key
from model.spray import load_rules
from model.traits import Answers, check_answers
from tests.model.test_control import RATE

BINDII = {
    "leaf_build": "finely_cut",
    "growth_habit": "rosette",
    "flower_build": "button",
    "seed_structure": "winged_spine_seed",
    "seed_wings": "broad",
    "spines": "on_fruit",
    "milky_sap": "present",
}
SITE = Site(1, "12 Wattle Street, Invented Bay", "NSW", "buffalo", ("pets",), 220.0, notes="Gate <left> & side")
CLIENT = Client("M. N\u00fa\u00f1ez & Daughters", "0400 000 000")


def answers_of(key: Key) -> Answers:
    return check_answers(key.flora.characters, BINDII)


def naming(key: Key) -> Naming:
    return Naming.of(identify(key, answers_of(key)), answers_of(key))


def bindii_plan(control: Control, **more: Any) -> Any:
    return plan(control, Case(("soliva_sessilis",), 6, "buffalo", state="NSW", **more))


def signed(number: int, reason: str = "") -> Signed:
    return Signed(
        number, "treatment", 1, "R. Grower", f"2026-06-0{number}T10:00:00+00:00", "", None, reason, "", "a" * 64
    )


def treatment(**more: Any) -> Treatment:
    product = Product("As on the label", "MCPA 250 g/L", (4,), batch="B17", rate="5 L/ha", total_amount="110 mL")
    given = {
        "visit": 1, "day": date(2026, 6, 9), "state": "NSW", "products": (product,), "started": time(8, 10),
        "address": SITE.address, "weather": (Reading(time(8, 5), 14.2, 61, 7.5, "SW"),), "id": 1,
    }  # fmt: skip
    return Treatment(**{**given, **more})


def text_of(pdf: bytes, tmp_path: Path | None = None) -> str:
    """All the words of a PDF, by pdftotext where it is installed."""
    if tmp_path is not None and shutil.which("pdftotext"):
        file = tmp_path / "paper.pdf"
        file.write_bytes(pdf)
        done = subprocess.run(["pdftotext", str(file), "-"], capture_output=True, check=True)
        found = done.stdout.decode()
    else:
        found = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)
    return " ".join(found.split())


def check_paper(pdf: bytes) -> int:
    """A4 throughout, every font inside, no address to call and no script; returns the number of pages."""
    reader = PdfReader(io.BytesIO(pdf))
    for page in reader.pages:
        assert [round(float(side)) for side in page.mediabox[2:]] == [595, 842]
        for font in page["/Resources"]["/Font"].values():
            whole = font.get_object()
            inner = whole.get("/DescendantFonts", [whole])[0].get_object()
            assert "/FontFile2" in inner["/FontDescriptor"].get_object(), whole["/BaseFont"]
        assert "/Annots" not in page
    assert b"/JavaScript" not in pdf and b"/URI" not in pdf
    assert reader.metadata is not None and reader.metadata.title
    return len(reader.pages)


def test_an_advice_sheet_says_what_how_sure_why_and_what_to_do(key: Key, control: Control, tmp_path: Path) -> None:
    sheet = AdviceSheet(naming(key), bindii_plan(control, near=("pets",)), CLIENT.name, SITE.address, "9 June 2026")
    pdf = advice_paper(sheet, key, control)
    assert check_paper(pdf) <= 2
    text = text_of(pdf, tmp_path)
    for words in ("Bindii", "Soliva sessilis", CLIENT.name, "What it is", "Evidence for it", "Evidence against it",
                  "milk", "Ruled out",
                  "What to do now, in June", "Hand removal", "Not here, and why", "The year of bindii",
                  "common practice, no source", "children and pets above all", "guinea pigs",
                  "on the product's label"):  # fmt: skip
        assert words in text, words


def test_no_advice_sheet_holds_a_rate(key: Key, control: Control) -> None:
    for species in ("soliva_sessilis", "cyperus_rotundus", "poa_annua", "cynodon_dactylon"):
        sheet = AdviceSheet(Naming(species), plan(control, Case((species,), 11, "couch")))
        text = text_of(advice_paper(sheet, key, control))
        assert RATE.search(re.sub(r"\d+ per cent weed cover", "", text)) is None, species


def test_a_shortlist_is_a_question_and_what_parts_it_stands_first(key: Key, control: Control) -> None:
    made = plan(control, Case(("taraxacum_officinale", "hypochaeris_radicata"), 11, "couch"))
    text = text_of(advice_paper(AdviceSheet(Naming("hypochaeris_radicata"), made), key, control))
    assert "Dandelion or catsear?" in text
    assert text.index("stalk is hollow") < text.index("What to do now")
    assert "no characters were noted" in text, "a name without signs is not shown as proven"


def test_nothing_that_a_shortlist_holds_is_called_ruled_out(key: Key) -> None:
    alone = naming(key)
    ruled_out = {name for name, _, out in taken_for(alone, key) if out}
    assert ruled_out, "the answers rule something out"
    listed = [s for s in key.flora.look_alikes[alone.species] if key.flora.species[s].common_name in ruled_out][:2]
    several = alone.among((alone.species, *listed))
    assert set(several.also) == {*alone.also, *listed}
    told = {name: out for name, _, out in taken_for(several, key)}
    assert {name for name, out in told.items() if out} == ruled_out - {key.flora.species[s].common_name for s in listed}
    assert list(told.values()) == sorted(told.values()), "what is still possible comes first"
    assert "The names were given" in how_sure(Naming("poa_annua").among(("lolium_perenne",)), key)


def test_a_job_sheet_has_place_plan_limits_sums_and_lines_to_write_on(
    key: Key, control: Control, tmp_path: Path
) -> None:
    one = sum_on_paper("Tank: 10 L at 5 L/ha", plan_tank(10, 200, read_rate("5 L/ha"), None))
    job = JobSheet(naming(key), bindii_plan(control, used=(4,)), SITE, CLIENT, "9 June 2026", "Own Lawns", sums=(one,))
    pdf = job_paper(job, key, control, load_rules())
    check_paper(pdf)
    text = text_of(pdf, tmp_path)
    for words in ("12 Wattle Street", "0400 000 000", "Gate <left> & side", "Group 4 was used", "2 to 8 C",
                  "above 20 km/h", "Tank: 10 L at 5 L/ha", "a tank covers", "What to bring", "gloves",
                  "the product with its label", "measured on site", "By whom", "Licence, New South Wales"):  # fmt: skip
        assert words in text, words


def test_only_what_was_chosen_is_on_the_job_sheet_and_hand_work_needs_no_weather(key: Key, control: Control) -> None:
    job = JobSheet(naming(key), bindii_plan(control), SITE, CLIENT, chosen=("hand",))
    text = text_of(job_paper(job, key, control, load_rules()))
    assert "Hand removal" in text and "weeding knife" in text
    assert "Selective herbicide" not in text and "Weather as measured" not in text and "spill kit" not in text


def test_a_spray_record_shows_every_field_that_any_state_asks_for(tmp_path: Path) -> None:
    pdf = record_paper(Current("treatment", treatment()))
    check_paper(pdf)
    text = text_of(pdf, tmp_path)
    for asked in union_of_fields():
        if asked.field not in ("wind_speed", "wind_direction", "temperature"):
            words = asked.text.removeprefix("the ")[1:]
            assert words in text, asked.field
    assert "Wind, km/h" in text and "7.5" in text and "Wind from" in text
    assert "Not signed yet: this is a draft" in text and "STILL MISSING" in text


def test_an_amended_record_shows_both_signatures_and_what_was_changed() -> None:
    old = treatment(water_litres=11.0)
    new = replace(old, water_litres=12.0, products=(replace(old.products[0], batch="B18"),))
    chain = (signed(1), signed(2, "the batch was misread"))
    pdf = record_paper(Current("treatment", new, chain), tuple(zip(chain, (old, new), strict=True)))
    text = text_of(pdf)
    assert "Signed, and amended once" in text and "the batch was misread" in text
    assert "11 \u2192 12" in text and "B17 \u2192 B18" in text
    assert changes(old, old) == []


def test_hand_work_is_a_record_without_law_or_products() -> None:
    text = text_of(record_paper(Current("treatment", treatment(chemical=False, products=(), method="hand weeding"))))
    assert "Record of work" in text and "hand weeding" in text
    assert "Products" not in text and "regulator" not in text


@pytest.mark.parametrize("month", [None, 6])
def test_the_printed_key_holds_every_couplet_and_says_whom_it_leaves_out(
    key: Key, month: int | None, tmp_path: Path
) -> None:
    printed = make_key(key.likelihoods, month)
    pdf = key_paper(printed, key.flora)
    assert 4 <= check_paper(pdf) <= 12
    text = text_of(pdf, tmp_path)
    for couplet in printed.couplets:
        assert f"{couplet.number} ({couplet.before})" in text or couplet.before is None
    for species in printed.species:
        assert key.flora.species[species].scientific_name in text
    assert ("Left out, as they cannot be seen in June" in text) == (month == 6)
    for species in printed.out_of_season:
        assert f"({key.flora.species[species].scientific_name})" in text


def test_the_same_content_gives_the_same_file(key: Key, control: Control) -> None:
    sheet = AdviceSheet(naming(key), bindii_plan(control))
    assert advice_paper(sheet, key, control) == advice_paper(sheet, key, control)


def test_what_people_type_is_never_taken_for_markup() -> None:
    nasty = '<b>x</b> <img src="http://example.org/x.png"/> & <para> \x00\x07 \U0001f33f'
    sheet = Sheet(Head("Paper", nasty, nasty, nasty))
    table = Table(((nasty, "two"),), widths=(0.5, 0.5))
    sheet.write(Paragraph((nasty,)), table, Ticks((nasty,)), Bullets(("word" * 400,)))
    text = text_of(sheet.as_pdf())
    assert text.count("<img src=") >= 3


def test_papers_are_drawn_in_black_and_greys_only(key: Key, control: Control, tmp_path: Path) -> None:
    if not shutil.which("pdftoppm"):
        pytest.skip("pdftoppm is not installed, so colours in the rendered page would go unseen")
    from PIL import Image

    file = tmp_path / "paper.pdf"
    file.write_bytes(advice_paper(AdviceSheet(naming(key), bindii_plan(control)), key, control))
    subprocess.run(["pdftoppm", "-r", "50", "-png", str(file), str(tmp_path / "page")], check=True)
    pages = sorted(tmp_path.glob("page*.png"))
    assert pages
    for page in pages:
        with Image.open(page) as image:
            bands = [band.tobytes() for band in image.convert("RGB").split()]
            assert all(one == two for one, two in pairwise(bands))
            assert image.convert("L").getextrema()[0] < 80, "something is printed"


def test_a_font_that_is_missing_is_said_in_one_sentence(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    import matplotlib

    from app.papers import pdf as sheet
    from model.errors import SwardkeyError

    monkeypatch.setattr(matplotlib, "get_data_path", lambda: str(tmp_path))
    sheet.load_fonts.cache_clear()
    with pytest.raises(SwardkeyError, match="this font is missing"):
        sheet.load_fonts()
    monkeypatch.undo()
    sheet.load_fonts()
