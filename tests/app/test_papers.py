"""The papers as PDF: what stands on them, that their fonts are inside, and that no rate is ever ours."""

from __future__ import annotations

import io
import re
from dataclasses import fields, replace
from datetime import date, time
from itertools import pairwise
from typing import Any

import pytest
from pypdf import PdfReader
from reportlab.platypus import KeepTogether

from app.papers import pdf as paper
from app.papers.advice_sheet import AdviceSheet, advice_paper
from app.papers.job_sheet import JobSheet, job_paper
from app.papers.key_sheet import MOST_DRAWN, key_paper, whole_key
from app.papers.pocket_key import DRAWN, _couplet, _parts, lead_drawings
from app.papers.record_sheet import record_paper
from app.papers.sheet import Sheet
from app.present.block import Bullets, Paragraph, Table, ticks
from app.present.key import about
from app.present.naming import Naming, how_sure, mistaken_for
from app.present.record import changes
from app.present.sums import sum_on_paper
from app.records.entries import Client, Current, Product, Reading, Signed, Site, Treatment
from app.records.law import field_names
from model.control import Case, Control, Plan, plan
from model.errors import SwardkeyError
from model.identify import Key, identify
from model.mix import plan_tank, read_rate
from model.printed_key import Couplet, Lead, make_key
from model.spray import load_rules
from model.traits import check_answers
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


def naming(key: Key) -> Naming:
    answers = check_answers(key.flora.characters, BINDII)
    return Naming.of(identify(key, answers), answers)


def bindii_plan(control: Control, **more: Any) -> Plan:
    return plan(control, Case(("soliva_sessilis",), 6, "buffalo", state="NSW", **more))


def job_text(key: Key, control: Control, case: dict[str, Any], **more: Any) -> str:
    job = JobSheet(naming(key), bindii_plan(control, **case), SITE, CLIENT, "9 June 2026", "Own Lawns", **more)
    return text_of(job_paper(job, key, control, load_rules()))


def signed(number: int, reason: str = "") -> Signed:
    at = f"2026-06-0{number}T10:00:00+00:00"
    return Signed(number, "treatment", 1, "R. Grower", at, "", None, reason, "", "a" * 64)


def treatment(**more: Any) -> Treatment:
    product = Product("As on the label", "MCPA 250 g/L", (4,), batch="B17", rate="5 L/ha", total_amount="110 mL")
    given = {
        "visit": 1, "day": date(2026, 6, 9), "state": "NSW", "products": (product,), "started": time(8, 10),
        "address": SITE.address, "weather": (Reading(time(8, 5), 14.2, 61, 7.5, "SW"),), "id": 1,
    }  # fmt: skip
    return Treatment(**{**given, **more})


def text_of(pdf: bytes, pages: tuple[int, int] = (1, 4)) -> str:
    """All the words of a sound paper: A4, every font inside, no address to call and no script."""
    reader = PdfReader(io.BytesIO(pdf))
    assert pages[0] <= len(reader.pages) <= pages[1]
    for page in reader.pages:
        assert [round(float(side)) for side in page.mediabox[2:]] == [595, 842] and "/Annots" not in page
        for font in page["/Resources"]["/Font"].values():
            whole = font.get_object()
            inner = whole.get("/DescendantFonts", [whole])[0].get_object()
            assert "/FontFile2" in inner["/FontDescriptor"].get_object(), whole["/BaseFont"]
    assert b"/JavaScript" not in pdf and b"/URI" not in pdf
    assert reader.metadata is not None and reader.metadata.title
    return " ".join(" ".join(page.extract_text() for page in reader.pages).split())


def sizes_of_type(pdf: bytes) -> dict[float, int]:
    """Letters by the size that they are set in, in points."""
    found: dict[float, int] = {}

    def count(text: str, _: Any, __: Any, ___: Any, size: float) -> None:
        if text.strip():
            found[round(size, 1)] = found.get(round(size, 1), 0) + len(text)

    for page in PdfReader(io.BytesIO(pdf)).pages:
        page.extract_text(visitor_text=count)
    return found


def most_used(sizes: dict[float, int]) -> float:
    """The size in which most is set."""
    return max(sizes, key=sizes.__getitem__)


def holds(text: str, *words: str) -> None:
    """Whether all the words are there."""
    assert not [one for one in words if one not in text]


def test_an_advice_sheet_says_what_how_sure_why_and_what_to_do(key: Key, control: Control) -> None:
    sheet = AdviceSheet(naming(key), bindii_plan(control, near=("pets",)), CLIENT.name, SITE.address, "9 June 2026")
    pdf = advice_paper(sheet, key, control)
    assert pdf == advice_paper(sheet, key, control), "the same content gives the same file"
    text = text_of(pdf, (1, 2))
    holds(text, "Bindii", "Soliva sessilis", CLIENT.name, "What it is", "Evidence for it", "Evidence against it")
    holds(
        text, "milk", "Ruled out", "What to do now, in June", "Hand removal", "Ruled out here, and why", "guinea pigs"
    )
    holds(text, "The year of bindii", "common practice, no source", "children and pets", "on the product's label")


@pytest.mark.parametrize("species", ["soliva_sessilis", "cyperus_rotundus", "poa_annua", "cynodon_dactylon"])
def test_no_advice_sheet_holds_a_rate(key: Key, control: Control, species: str) -> None:
    sheet = AdviceSheet(Naming(species), plan(control, Case((species,), 11, "couch")))
    text = text_of(advice_paper(sheet, key, control))
    assert RATE.search(re.sub(r"\d+ per cent weed cover", "", text)) is None


def test_a_shortlist_is_a_question_and_how_to_tell_them_apart_comes_first(key: Key, control: Control) -> None:
    made = plan(control, Case(("taraxacum_officinale", "hypochaeris_radicata"), 11, "couch"))
    text = text_of(advice_paper(AdviceSheet(Naming("hypochaeris_radicata"), made), key, control))
    holds(text, "Dandelion or catsear?", "no characters were recorded")
    assert text.index("stalk is hollow") < text.index("What to do now")


def test_nothing_that_a_shortlist_holds_is_called_ruled_out(key: Key) -> None:
    alone = naming(key)
    ruled_out = {name for name, _, out in mistaken_for(alone, key) if out}
    assert ruled_out, "the answers rule something out"
    listed = [s for s in key.flora.look_alikes[alone.species] if key.flora.species[s].common_name in ruled_out][:2]
    several = alone.among((alone.species, *listed))
    assert set(several.also) == {*alone.also, *listed}
    found = {name: out for name, _, out in mistaken_for(several, key)}
    assert {name for name, out in found.items() if out} == ruled_out - {
        key.flora.species[s].common_name for s in listed
    }
    assert list(found.values()) == sorted(found.values()), "what is still possible comes first"
    assert "The names were given" in how_sure(Naming("poa_annua").among(("lolium_perenne",)), key)


def test_a_job_sheet_has_place_plan_limits_sums_and_lines_to_write_on(key: Key, control: Control) -> None:
    one = sum_on_paper("Tank: 10 L at 5 L/ha", plan_tank(10, 200, read_rate("5 L/ha"), None))
    text = job_text(key, control, {"used": (4,)}, sums=(one,))
    holds(text, "12 Wattle Street", "0400 000 000", "Gate <left> & side", "Group 4 was used", "2 to 8 °C", "By whom")
    holds(text, "above 20 km/h", "Tank: 10 L at 5 L/ha", "a tank covers", "What to bring", "gloves", "measured on site")
    holds(text, "the product with its label", "Licence, New South Wales")


def test_only_what_was_chosen_is_on_the_job_sheet_and_hand_work_needs_no_weather(key: Key, control: Control) -> None:
    by_hand = tuple(option for option in bindii_plan(control).options if option.method == "hand")
    text = job_text(key, control, {}, options=by_hand)
    holds(text, "Hand removal", "weeding knife")
    assert not any(words in text for words in ("Selective herbicide", "Weather as measured", "spill kit"))


def test_a_spray_record_shows_what_its_own_state_asks_for_or_of_an_unknown_list_every_field() -> None:
    own = text_of(record_paper(Current("treatment", treatment())))
    holds(own, "Full name of the product", "Situation")
    assert "Expiry date" not in own and "Asked by" not in own
    text = text_of(record_paper(Current("treatment", treatment(state="TAS"))))
    headed = ("wind_speed", "wind_direction", "temperature")
    named = (text.removeprefix("the ")[1:] for name, text in field_names().items() if name not in headed)
    holds(text, "Products, from their labels", *(name.removesuffix(", from the label") for name in named))
    holds(text, "Wind, km/h", "7.5", "Wind from", "Air, °C", "Not signed yet: this is a draft", "STILL MISSING")


def test_an_amended_record_shows_both_signatures_and_what_was_changed() -> None:
    old = treatment(water_litres=11.0)
    new = replace(old, water_litres=12.0, products=(replace(old.products[0], batch="B18"),), weather=())
    chain = (signed(1), signed(2, "the batch was misread"))
    text = text_of(record_paper(Current("treatment", new, chain), tuple(zip(chain, (old, new), strict=True))))
    holds(text, "Signed, and amended once", "the batch was misread", "11 \u2192 12", "B17 \u2192 B18", "1: removed")
    assert changes(old, old) == []


def at_its_longest(entry: Any) -> Any:
    """An entry with as much in every text as a page takes."""
    texts = {field.name: "word " * 800 for field in fields(entry) if field.type == "Text"}
    return replace(entry, **texts)


def test_a_record_with_every_field_at_its_longest_breaks_over_pages() -> None:
    full = at_its_longest(treatment(notes="x"))
    full = replace(full, products=(at_its_longest(Product()),), weather=(at_its_longest(Reading()),))
    pdf = record_paper(Current("treatment", replace(full, notes="word " * 3990 + "last", clippings="\n" * 900)))
    text = text_of(pdf, (40, 150))
    assert text.count("word") > 40 * 800
    holds(text, "last")


def test_letters_that_the_fonts_lack_are_named() -> None:
    text = text_of(record_paper(Current("treatment", treatment(client="Kim \ue000", address="\u07f7 Street"))))
    holds(text, "U+07F7 nko symbol gbakurunen", "No font on this machine has these characters")


def test_hand_work_is_a_record_without_law_or_products() -> None:
    text = text_of(record_paper(Current("treatment", treatment(chemical=False, products=(), method="hand weeding"))))
    holds(text, "Record of work", "hand weeding")
    assert "Products" not in text and "regulator" not in text


def test_the_printed_key_holds_every_couplet_and_says_what_it_leaves_out(key: Key) -> None:
    printed = make_key(key.likelihoods, 6)
    text = text_of(whole_key(printed, key.flora), (4, 15))
    holds(text, *(f"{one.number} ({one.before})" for one in printed.couplets if one.before is not None))
    holds(text, *(key.flora.species[species].scientific_name for species in printed.species))
    holds(text, *(f"({key.flora.species[species].scientific_name})" for species in printed.out_of_season))
    holds(text, "Left out, as they cannot be seen in June")
    assert about(replace(printed, month=None)).endswith("all year")


@pytest.mark.parametrize("month", [1, 7, 10])
def test_the_key_of_a_month_can_be_read_on_four_pages_at_most(key: Key, month: int) -> None:
    printed = make_key(key.likelihoods, month)
    pdf = key_paper(printed, key.flora, "9 June 2026")
    assert min(sizes_of_type(pdf)) >= 7 and most_used(sizes_of_type(pdf)) >= 7.5
    text = text_of(pdf, (2, 4))
    assert text.count("9 June 2026") == len(PdfReader(io.BytesIO(pdf)).pages)
    holds(text, "Start at 1.", *(f"{one.number} ({one.before})" for one in printed.couplets if one.before is not None))
    holds(text, *(key.flora.species[species].common_name for species in printed.species))
    assert text.count("\u2192") == sum(lead.couplet is not None for c in printed.couplets for lead in c.leads)


def test_the_questions_of_a_pocket_key_that_most_come_by_are_drawn(key: Key) -> None:
    printed = make_key(key.likelihoods, 7)
    parts = _parts(printed, key.flora, 80)
    drawn = [place for place, part in enumerate(parts) if isinstance(part, KeepTogether)]
    assert len(drawn) == DRAWN and drawn[0] == 1, "the first couplet is one of them"


def test_leads_of_a_pocket_key_stand_apart_where_there_is_room(key: Key) -> None:
    printed = make_key(key.likelihoods, 10)
    line = _couplet(printed.couplets[0], printed, key.flora, apart=True)
    assert line.count("<br/>") == 2 and line.replace("<br/>", " ") == _couplet(printed.couplets[0], printed, key.flora)
    assert most_used(sizes_of_type(key_paper(printed, key.flora))) >= 8.0


def test_the_shorter_lead_of_a_pocket_key_is_told_and_the_other_is_otherwise(key: Key) -> None:
    leads = (Lead("so long a lead that nobody would want to read it", couplet=2), Lead("short", couplet=3))
    asked = key.flora.characters["leaf_build"]
    line = _couplet(Couplet(1, None, asked, False, leads), make_key(key.likelihoods, 1), key.flora)
    assert line.index("short") < line.index("<b>3</b>") < line.index("otherwise") < line.index("<b>2</b>")
    leads = (replace(leads[0]), Lead("none of these", couplet=3))
    line = _couplet(Couplet(1, None, asked, False, leads), make_key(key.likelihoods, 1), key.flora)
    assert "otherwise" not in line and "so long a lead" in line, "it would not say what these are"


def test_the_key_of_the_year_draws_what_its_leads_name(key: Key) -> None:
    printed = make_key(key.likelihoods)
    drawn = [one for c in printed.couplets for lead in c.leads for one in lead_drawings(c, lead, 25, MOST_DRAWN)]
    assert len(drawn) > len(printed.couplets), "more than one to a couplet"
    several = [lead for couplet in printed.couplets for lead in couplet.leads if len(lead.states) > 2]
    assert several and not any(lead_drawings(printed.couplets[0], lead, 25, MOST_DRAWN) for lead in several)


def test_what_people_type_is_never_mistaken_for_markup() -> None:
    nasty = '<b>x</b> <img src="http://example.org/x.png"/> & <para> \x00\x07 \U0001f33f'
    sheet = Sheet(paper.Head("Paper", nasty, nasty, nasty))
    table = Table(((nasty, "two"),), widths=(0.5, 0.5))
    sheet.write(Paragraph((nasty,)), table, ticks((nasty,)), Bullets(("word" * 400,)))
    assert text_of(sheet.as_pdf()).count("<img src=") >= 3


def test_papers_are_drawn_in_black_and_greys_only(key: Key, control: Control) -> None:
    reader = pytest.importorskip("pypdfium2", reason="nothing here draws a PDF, so colours would go unseen")
    for page in reader.PdfDocument(advice_paper(AdviceSheet(naming(key), bindii_plan(control)), key, control)):
        image = page.render(scale=0.7).to_pil()
        bands = [band.tobytes() for band in image.convert("RGB").split()]
        assert all(one == two for one, two in pairwise(bands))
        assert image.convert("L").getextrema()[0] < 80, "something is printed"


def test_a_missing_font_is_said_in_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    paper.load_fonts.cache_clear()
    with monkeypatch.context() as patch, pytest.raises(SwardkeyError, match="this font is missing"):
        patch.setattr("importlib.util.find_spec", lambda name: None)
        paper.load_fonts()
    paper.load_fonts()
