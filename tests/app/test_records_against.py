"""What speaks against a treatment is said beside it, by the judgement that the plan shares, and never changes it."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from pypdf import PdfReader

from app.command_line import main
from app.papers.record_sheet import paper_of_treatment, record_paper
from app.records import Client, KeptPlan, Product, Records, Site, Treatment, Visit, check_records, open_records
from app.records.entries import VisitRecord
from app.services.labels import labels_read, note_label
from app.services.objections import HEADING, actives_named, against, use_of_treatment
from app.web import visit_page as visit
from app.web.context import Context
from app.web.draft import Draft
from app.web.frame import render
from app.web.sums_page import show
from model.control import Case, Control, judge_use, plan
from model.identify import Key
from tests.app.page_visitor import DANDELION, Person, context_of
from tests.app.record_book import filled

TAS = Site(1, "1 Low Street", "TAS", "couch")
BUFFALO = Site(1, "2 High Street", "NSW", "buffalo")
DAY = date(2026, 6, 9)


@pytest.fixture
def book() -> Iterator[Records]:
    with open_records() as records:
        records.add_client(Client(name="A. Wattle", phone="0000"))
        yield records


def treated(book: Records, site: Site, actives: str, day: date = DAY, **more: Any) -> Treatment:
    """A treatment that is kept, at a visit of its own."""
    kept = book.add_visit(Visit(book.add_site(site).id, day, "Kim"))
    product = Product(name="as on the label", actives=actives, groups=(4,), rate="1.50 mL/L", approval_number="1")
    new = replace(filled(book.new_treatment(kept.id)), products=(product,) if actives else (), **more)
    return book.add_treatment(new)


def said(book: Records, control: Control, treatment: Treatment) -> str:
    return " | ".join(str(remark) for remark in against(book, treatment, control))


@pytest.mark.parametrize(
    ("told", "known"),
    [
        ("2,4-D 625 g/L", ("2,4-D",)),
        ("24D amine", ("2,4-D",)),
        ("200 g/L bromoxynil and 200 g/L MCPA", ("bromoxynil", "MCPA")),
        ("bromoxynil + mcpa (as the dimethylamine salt)", ("bromoxynil", "MCPA")),
        ("Mecoprop-P; dicamba", ("dicamba", "mecoprop")),
        ("halosulfuron 750 g/kg", ("halosulfuron-methyl",)),
        ("S metolachlor", ("S-metolachlor",)),
        ("iron sulphate", ("iron sulfate",)),
        ("2,4-DB", ()),
        ("MCPB, groups 2, 4; dicambax", ()),
        ("glyphosate-free soap", ()),
        ("moonshine 3 %", ()),
    ],
)
def test_actives_are_found_however_they_are_written(told: str, known: tuple[str, ...], control: Control) -> None:
    assert actives_named(control, (Product(actives=told),)) == known


@pytest.mark.parametrize(
    ("told", "known"),
    [
        ("halosulfuron", "halosulfuron-methyl"),
        ("Fluazifop-P-butyl", "fluazifop-P-butyl"),
        ("fluazifop", "fluazifop-P-butyl"),
        ("2,4-D amine", "2,4-D"),
        ("24D ester", "2,4-D"),
        ("MCPA (as the dimethylamine salt)", None),  # one active is asked for, by its name
        ("mcpa dimethylamine salt", "MCPA"),
        ("glyphosate-isopropylammonium", "glyphosate"),
        ("metsulphuron methyl", "metsulfuron-methyl"),
        ("2,4-DB", None),
        ("methyl", None),
        ("amine", None),
        ("", None),
    ],
)
def test_an_active_is_named_with_or_without_its_salt_or_ester(told: str, known: str | None, control: Control) -> None:
    assert control.active_named(told) == known


def test_every_active_is_found_by_all_its_names(control: Control) -> None:
    for key, active in control.actives.items():
        for name in (key, key.upper(), key.replace("-", " "), *active.also_called):
            assert control.active_named(name) == key, name
            assert key in actives_named(control, (Product(actives=f"{name} 100 g/L"),)), name
            assert key in actives_named(control, (Product(name=f"Own {name} 100"),)), name


@pytest.mark.parametrize(
    ("site", "actives", "more", "words"),
    [
        (BUFFALO, "2,4-D 625 g/L", {}, "2,4-D injures buffalo."),
        (BUFFALO, "bromoxynil + dicamba", {}, "Dicamba injures buffalo."),
        (TAS, "2,4-D", {"day": date(2026, 12, 3)}, "Tasmania: 2,4-D is banned"),
        (TAS, "2,4-D", {"day": date(2026, 9, 3)}, "Look at the day of the treatment."),
        (replace(TAS, state="VIC"), "2,4-D", {"state": "TAS", "day": date(2026, 12, 3)}, "Tasmania"),
        (TAS, "chlorthal-dimethyl 750 g/kg", {}, "Chlorthal-dimethyl is cancelled in Australia"),
        (replace(TAS, near=("edibles",)), "clopyralid", {}, "injures food plants"),
        (TAS, "glyphosate 360 g/L", {}, "Glyphosate kills the lawn that it touches."),
        (TAS, "glyphosate", {"situation": "", "plants": "couch lawn"}, "kills the lawn"),
        (replace(TAS, lawn="unknown"), "glyphosate", {}, "kills the lawn"),
        # Nothing speaks against these.
        (BUFFALO, "bromoxynil 200 g/L + MCPA 200 g/L", {}, ""),
        (BUFFALO, "something else", {}, ""),
        (BUFFALO, "", {}, ""),
        (BUFFALO, "2,4-D", {"situation": "garden bed"}, ""),
        (BUFFALO, "2,4-D", {"situation": "", "plants": ""}, ""),  # where is not given: nothing is concluded
        (TAS, "2,4-D", {"day": date(2026, 6, 3)}, ""),
        (TAS, "glyphosate", {"situation": "driveway"}, ""),
        (TAS, "glyphosate", {"gear": "wiper"}, ""),
        (TAS, "glyphosate", {"gear": "", "method": "Wiper"}, ""),
        (TAS, "", {"chemical": False, "method": "hand weeding"}, ""),
    ],
)
def test_what_the_judgement_forbids_is_said_and_nothing_else(
    site: Site, actives: str, more: dict[str, Any], words: str, book: Records, control: Control
) -> None:
    found = said(book, control, treated(book, site, actives, **more))
    assert (words in found and found.endswith("]")) if words else found == ""


def test_it_is_the_judgement_of_the_plan_for_every_active_on_every_lawn(book: Records, control: Control) -> None:
    for lawn in control.lawns:
        kept = treated(book, Site(1, f"{lawn} street", "TAS", lawn), "glyphosate", date(2026, 12, 3))
        record = book.current("visit", kept.visit).record
        assert isinstance(record, VisitRecord)
        for name in control.actives:
            one = replace(kept, products=(Product(actives=name),))
            reasons = judge_use(control, use_of_treatment(control, one, record, (name,)))
            forbids = [reason.whole for reason in reasons if reason.suited == "no"]
            assert [remark.text for remark in against(book, one, control)] == forbids, (lawn, name)


def test_the_case_that_was_told_for_the_plan_counts_before_the_site(book: Records, control: Control) -> None:
    kept = treated(book, replace(TAS, lawn="unknown", state="NSW"), "bromoxynil + MCPA")
    assert said(book, control, kept) == ""
    for cultivar, injured in (("st", True), ("sapphire", False)):
        made = plan(control, Case((DANDELION,), 6, "buffalo", cultivar=cultivar))
        book.add_plan(KeptPlan(kept.visit, made.as_json(control)))
        assert ("injures buffalo (ST varieties" in said(book, control, kept)) == injured


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Any:
    def run(*arguments: str) -> str:
        with pytest.raises(SystemExit) as stopped:
            main(list(arguments))
        out, err = capsys.readouterr()
        assert stopped.value.code == 0, err
        return out

    return run


def test_records_show_says_it_and_what_was_signed_stays_as_it_was(book: Records, run: Any) -> None:
    kept = treated(book, replace(BUFFALO, state="VIC"), "2,4-D 625 g/L")
    book.sign("treatment", kept.id, "Kim")
    before = book.current("treatment", kept.id)
    shown = json.loads(run("records", "show", "treatment", str(kept.id), "--json"))
    assert len(shown["against"]) == 1 and shown["against"][0].startswith("2,4-D injures buffalo.")
    assert shown["chain"] and "against" not in shown["record"]
    text = run("records", "show", "treatment", str(kept.id))
    assert "Evidence against this treatment" in text and "2,4-D injures buffalo." in " ".join(text.split())
    site = json.loads(run("records", "show", "site", "1", "--json"))
    assert site["history"][0]["treatments"][0]["against"] == shown["against"]
    assert book.current("treatment", kept.id) == before and check_records(book).sound
    harmless = treated(book, replace(BUFFALO, state="VIC"), "bromoxynil + MCPA")
    assert json.loads(run("records", "show", "treatment", str(harmless.id), "--json"))["against"] == []


def test_lists_of_the_records_load_no_advice() -> None:
    watch = "import sys, app.commands.keep_records, app.services.objections, app.records\n"
    watch += "print([m for m in sys.modules if m == 'model.control'])"
    done = subprocess.run([sys.executable, "-c", watch], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.fixture
def context(key: Key, control: Control) -> Context:
    return context_of(key, control)


def test_the_page_of_a_visit_says_it_beside_the_treatment(context: Context, book: Records) -> None:
    bad = treated(book, BUFFALO, "2,4-D 625 g/L")
    good = treated(book, BUFFALO, "bromoxynil + MCPA")
    for kept, told in ((bad, True), (good, False)):
        page = render("one_visit.html", context=context, v=visit.show(context, book, kept.visit))
        assert (HEADING in page) == ("2,4-D injures buffalo." in page) == told


def text_of(pdf: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


def test_the_record_paper_says_it_apart_from_what_is_signed(book: Records) -> None:
    kept = treated(book, replace(BUFFALO, state="VIC"), "2,4-D 625 g/L")
    book.sign("treatment", kept.id, "Kim")
    text = text_of(paper_of_treatment(book, kept.id, "Own Lawns"))
    assert text.index("Weather as measured") < text.index(HEADING) < text.index("Signatures")
    assert "2,4-D injures buffalo." in text and "not part of what is signed" in text
    plain = text_of(record_paper(book.current("treatment", kept.id)))
    assert HEADING not in plain


@pytest.fixture
def sprayer(context: Context, control: Control) -> Person:
    """Someone with a dandelion in kikuyu, who has read the label that names it and chosen what it is for."""
    note_label(control, ("bromoxynil", "MCPA"), "kikuyu", "12345", "Kim", DAY)
    person = Person(context).press("look", month="9").prove().press("onward")
    person.press("make_plan", lawn="kikuyu", place="lawn", month="9", state="NSW")
    return person.press("choose", choice="selective+bromoxynil+MCPA")


def test_a_treatment_from_the_plan_says_which_label_unlocked_it(sprayer: Person, control: Control) -> None:
    assert sprayer.title == "Spray window and sums"
    sprayer.press("to_record")
    sprayer.press("keep", day="2026-09-25", who="Sam", client="A", address="1 Low Street", state="NSW")
    line = f"bromoxynil on kikuyu: {labels_read()[0]}"
    assert line == "bromoxynil on kikuyu: by the label, read by Kim on 9 June 2026, product 12345"
    with open_records() as book:
        kept = book.treatments()[0].record
        assert isinstance(kept, Treatment) and kept.notes == line, "MCPA is known to be borne: no label is needed"
        assert line in text_of(paper_of_treatment(book, kept.id))
    assert line in sprayer.text


def test_without_a_label_no_note_is_made(context: Context) -> None:
    person = Person(context).press("look", month="9").prove().press("onward")
    person.press("make_plan", lawn="kikuyu", place="lawn", month="9", state="NSW")
    person.press("choose", choice="selective+MCPA+dicamba").press("to_record")
    person.press("keep", day="2026-09-25", who="Sam", client="A", address="1 Low Street", state="NSW")
    with open_records() as book:
        kept = book.treatments()[0].record
    assert isinstance(kept, Treatment) and kept.method.startswith("Selective") and kept.notes == ""


@pytest.mark.parametrize(
    ("lawn", "weather", "words"),
    [
        ({"lawn": "buffalo", "place": "lawn", "month": 6}, {"active": "2,4-D"}, "2,4-D injures buffalo."),
        ({"lawn": "buffalo", "place": "lawn", "month": 6}, {"active": "bromoxynil + dicamba"}, "Dicamba injures"),
        ({"lawn": "couch", "place": "lawn", "month": 12}, {"active": "2,4-D", "state": "TAS"}, "2,4-D is banned"),
        ({"lawn": "couch", "place": "lawn", "month": 6, "state": "TAS"}, {"active": "2,4-D"}, ""),
        ({"lawn": "buffalo", "place": "bed", "month": 6}, {"active": "2,4-D"}, ""),
        ({"lawn": "buffalo", "place": "lawn", "month": 6}, {"active": "bromoxynil + MCPA"}, ""),
        ({"lawn": "buffalo", "place": "lawn", "month": 6}, {"active": ""}, ""),
        ({"lawn": "buffalo", "place": "lawn", "month": 6}, {"active": "moonshine"}, ""),
    ],
)
def test_the_sums_say_what_is_ruled_out_and_are_worked_out_all_the_same(
    context: Context, lawn: dict[str, Any], weather: dict[str, Any], words: str
) -> None:
    typed = {"granule": {"rate": "20 g/m2", "area": "100", "sure": ""}}
    shown = show(context, Draft("d" * 22, lawn=lawn, weather=weather, sums=typed))
    assert "blocks" in shown["results"]["granule"]
    assert bool(words) == bool(shown["not_here"]) and words in shown["not_here"] and "\n" not in shown["not_here"]


def test_the_sums_take_what_was_chosen_until_another_active_is_told(sprayer: Person) -> None:
    draft = sprayer.context.drafts.read(sprayer.plant)
    assert draft is not None
    assert show(sprayer.context, draft)["not_here"] == ""
    other = replace(draft, weather={"active": "chlorthal-dimethyl"})
    assert "cancelled in Australia" in show(sprayer.context, other)["not_here"]
