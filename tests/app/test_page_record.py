"""The record on the pages: what fills itself in, what is asked and called missing, several weeds, and the client."""

from __future__ import annotations

import re
from dataclasses import replace
from io import BytesIO
from typing import Any

import pytest
from pypdf import PdfReader

from app.papers.record_sheet import paper_of_treatment
from app.records import Client, OwnProduct, Profile, Records, RecordsError, Site, check_records, open_records
from app.services.own_products import from_shelf
from app.services.paper_making import paper_of_visit, text_for_client
from app.services.visit_papers import namings_of, visit_record
from app.web import own_page as own
from app.web import visit_page as visit
from app.web.context import Context
from app.web.frame import FormError
from app.web.lawn_page import defaults
from model.control import Control
from model.errors import AnswerError
from model.identify import Key
from tests.app.page_visitor import Person, context_of, typical
from tests.app.test_page_plan import FINE, proven

PROFILE = Profile(applicator="Sam", business="Test Lawns", business_contact="0491 570 156", licence="L 7", gear="wiper")
MIX = OwnProduct(
    name="Invented mix", approval_number="12345", actives="340 g/L MCPA + 80 g/L dicamba", groups=(4,), re_entry="dry"
)
CLOVER = "trifolium_repens"
WIND = "The wind was 45 km/h, over 20: why was it sprayed?"


def pdf_of(paper: bytes) -> PdfReader:
    """A paper opened."""
    return PdfReader(BytesIO(paper))


@pytest.fixture
def context(key: Key, control: Control) -> Context:
    return context_of(key, control)


@pytest.fixture
def site() -> int:
    """The number of a known client's couch lawn in New South Wales, with the user's details and a product."""
    with open_records() as records:
        records.keep_profile(PROFILE)
        records.keep_product(MIX)
        client = records.add_client(Client(name="Ada", email="ada@example.com"))
        return records.add_site(Site(client=client.id, address="9 Low Street", state="NSW", lawn="couch")).id


def at_the_plan(context: Context, site: int) -> Person:
    """Someone with a proven dandelion, at its plan for the lawn of the known client."""
    draft = proven(context.key)
    lawn = {**defaults(draft), "site": str(site), "lawn": "couch", "state": "NSW", "month": 11}
    context.drafts.save(replace(draft, lawn=lawn))
    given = {name: value for name, value in lawn.items() if isinstance(value, str)}
    return Person(context, {"plant": draft.id}).press("make_plan", **given | {"month": "11"})


@pytest.fixture
def recorder(context: Context, site: int) -> Person:
    """Someone whose visit is saved, with a spray that was checked and worked out."""
    person = (
        at_the_plan(context, site)
        .press("choose", choice="selective+MCPA+dicamba")
        .press("weigh", **FINE, active="MCPA + dicamba")
    )
    person.press("sum", "tank", tank="10", output="400", rate="3 L/ha", area="120").press("to_record")
    assert 'name="who" type="text" value="Sam"' in person.text
    return person.press("keep", day="2026-11-25", who="Sam", site=str(site))


def treatment_of(person: Person) -> tuple[Any, dict[str, str]]:
    """The treatment of the first visit, and the form of it as it stands on the page."""
    with open_records() as records:
        kept = records.treatments(visit=1)[0].record
    form = re.search(r"<form><dl.*?</form>", person.text, re.DOTALL)
    assert form is not None
    fields = dict(re.findall(r'<input id="t[^"]*" name="([^"]+)"[^>]* value="([^"]*)"', form[0]))
    chosen = re.findall(r'<select id="t[^"]*" name="([^"]+)".*?value="([^"]*)" selected', form[0], re.DOTALL)
    return kept, fields | dict(chosen)


def test_what_is_known_fills_itself_in(recorder: Person) -> None:
    kept, _ = treatment_of(recorder)
    (product,), (reading,) = kept.products, kept.weather
    assert (product.name, product.approval_number, product.actives) == (MIX.name, "12345", MIX.actives)
    assert (product.rate, product.total_amount, kept.area_m2, kept.water_litres) == ("3 L/ha", "36 mL", 120, 4.8)
    assert (reading.temperature, reading.wind_speed, f"{reading.at}") == (20, 9, "11:00:00")
    assert re.fullmatch("spray check: (go|caution|stop)", reading.notes)
    assert (kept.applicator, kept.business, kept.licence, kept.gear) == ("Sam", "Test Lawns", "L 7", "wiper")
    assert (kept.client, kept.address, kept.plants, kept.re_entry) == ("Ada", "9 Low Street", "couch lawn", "dry")


def test_what_is_missing_is_said_once_somebody_tries_to_sign(recorder: Person) -> None:
    assert "still missing" not in recorder.text and "Licensed to spray?" not in recorder.text, "a number says so"
    kept, fields = treatment_of(recorder)
    recorder.press("sign_treatment", str(kept.id), **fields | {"who": "Sam", "target": "bindii"})
    assert re.fullmatch(r"Not signed yet: \d fields are still missing for NSW. The rest is saved.", recorder.faults[0])
    first = re.search(r'name="([\w-]+)"[^>]*? data-first', recorder.text)
    assert first is not None and f'<a href="#t{kept.id}-{first[1]}">' in recorder.text
    kept, fields = treatment_of(recorder)
    assert kept.target == "bindii"
    rest = {"applicator_address": "1 Lane", "applicator_contact": "0", "business_address": "1 Lane", "started": "11:00"}
    rest |= {"equipment": "wick", "order_treated": "front first", "occupier": "Ada"}
    done = recorder.press("sign_treatment", str(kept.id), **fields | {"who": "Sam"} | rest)
    assert done.faults == [] and "<dt>Product</dt><dd>Invented mix</dd>" in done.text, "what is signed can be read"


def test_what_is_odd_is_asked_on_the_page_and_the_answer_is_kept(recorder: Person) -> None:
    kept, fields = treatment_of(recorder)
    rest = {"applicator_address": "1 Lane", "applicator_contact": "0", "business_address": "1 Lane", "started": "11:00"}
    rest |= {"equipment": "wick", "order_treated": "front first", "occupier": "Ada", "who": "Lee", "target": "bindii"}
    recorder.press("sign_treatment", str(kept.id), **fields | rest)
    wants = ["Not signed yet: correct what is asked below, or answer each question. The rest is saved."]
    assert recorder.faults == wants and "Sam applied it and Lee signs: why?</label>" in recorder.text
    # Each question has its own field; one answer does not stand for two, and is there still when the rest is asked.
    windy = fields | rest | {"weather-0-wind_speed": "45", "weather-0-wind_direction": "SE", "gear": "hand_spray"}
    recorder.press("sign_treatment", str(kept.id), **windy | {"answer-signer": "Sam is away"})
    assert recorder.faults == wants and 'name="answer-wind"' in recorder.text and 'value="Sam is away"' in recorder.text
    done = recorder.press("sign_treatment", str(kept.id), **windy | {"answer-wind": "gusts", "answer-signer": "away"})
    assert done.faults == []
    with open_records() as records:
        signed: Any = records.treatments(visit=1)[0].record
        paper = paper_of_treatment(records, signed.id)
    asked = {WIND: "gusts", "Sam applied it and Lee signs: why?": "away"}
    assert signed.answered == asked
    printed = " ".join(" ".join(page.extract_text() for page in pdf_of(paper).pages).split())
    assert all(f"{question} {answer}" in printed for question, answer in asked.items())


def test_an_amendment_on_the_page_answers_what_it_raises(recorder: Person) -> None:
    kept, fields = treatment_of(recorder)
    rest = {"applicator_address": "1 Lane", "applicator_contact": "0", "business_address": "1 Lane", "started": "11:00"}
    rest |= {"equipment": "wick", "order_treated": "front first", "occupier": "Ada", "who": "Sam", "target": "bindii"}
    rest |= {"gear": "hand_spray", "weather-0-wind_direction": "SE"}
    assert recorder.press("sign_treatment", str(kept.id), **fields | rest).faults == []
    assert 'name="answer-wind"' in recorder.text
    amended = fields | rest | {"weather-0-wind_speed": "45", "reason": "read wrong"}
    recorder.press("amend", str(kept.id), **amended)
    assert WIND in recorder.faults[0]
    # An answer to what is not asked is left out.
    done = recorder.press("amend", str(kept.id), **amended | {"answer-wind": "gusts", "answer-day": "same day"})
    assert done.faults == []
    with open_records() as records:
        signed: Any = records.treatments(visit=1)[0].record
    assert signed.answered == {WIND: "gusts"}


def test_whether_somebody_is_licensed_decides_what_is_asked(context: Context, site: int) -> None:
    with open_records() as records:
        records.keep_profile(replace(PROFILE, licence=""))
    person = at_the_plan(context, site).press("choose", choice="selective+MCPA+dicamba").press("to_record")
    person.press("keep", day="2026-11-25", who="Sam", site=str(site))
    assert "Licensed to spray?" in person.text and 'name="occupier"' in person.text.partition("not required here")[2]
    kept, fields = treatment_of(person)
    person.press("licensed", f"yes:{kept.id}", **fields)
    assert 'name="occupier"' in person.text.partition("not required here")[0]
    kept, fields = treatment_of(person)
    assert kept.licensed == "yes"
    person.press("keep_treatment", str(kept.id), **fields | {"licensed": "no"})
    assert 'name="occupier"' in person.text.partition("not required here")[2]


def test_a_product_is_chosen_by_its_button_and_joins_the_list_when_it_is_signed(context: Context, site: int) -> None:
    with open_records() as records:
        records.keep_product(replace(MIX, name="Another mix", re_entry="the next day"))
    person = at_the_plan(context, site).press("choose", choice="selective+MCPA+dicamba").press("to_record")
    person.press("keep", day="2026-11-25", who="Sam", site=str(site))
    kept, fields = treatment_of(person)
    assert kept.products[0].name == "", "which of two it is, nobody knows"
    person.press("use_product", f"{kept.id}:Another mix", **fields)
    kept, fields = treatment_of(person)
    assert (kept.products[0].name, kept.re_entry) == ("Another mix", "the next day")
    with open_records() as records:
        used = replace(kept.products[0], name="Third mix", rate="1 L/ha", batch="B1")
        assert records.learn_products(replace(kept, products=(used,))) == ("Third mix",)
        assert records.learn_products(replace(kept, products=(used,))) == ()
        third = records.own_products()[-1]
        assert third == replace(MIX, name="Third mix", re_entry="the next day")


def test_the_shelf_fills_in_what_holds_just_the_actives_that_were_chosen(control: Control, site: int) -> None:
    single = OwnProduct(name="Only one", actives="MCPA 500 g/L")
    with open_records() as records:
        records.add_visit(visit_of(records, site))
        new = records.new_treatment(1)
    spray = replace(new, products=(replace_actives("dicamba + MCPA"),))
    assert from_shelf(control, (single, MIX), spray).products[0].name == MIX.name
    assert from_shelf(control, (single,), spray) == spray
    named = replace(spray, products=(replace(spray.products[0], name="typed"),))
    assert from_shelf(control, (MIX,), named) == named


def replace_actives(actives: str) -> Any:
    from app.records import Product

    return Product(actives=actives)


def visit_of(records: Records, site: int) -> Any:
    from datetime import date

    from app.records import Visit

    return Visit(site=site, day=date(2026, 11, 25), who="Sam")


def test_nobody_is_called_after_the_account_of_the_machine(context: Context) -> None:
    draft = proven(context.key)
    context.drafts.save(draft)
    person = Person(context, {"plant": draft.id}).press("make_plan", lawn="couch", month="11").press("to_record")
    assert 'name="who" type="text" value=""' in person.text
    person.press("keep", day="2026-11-25", client="A", address="1 Low Street")
    assert person.faults == ["Who made the visit? Give a name."]


def test_own_details_are_kept_changed_and_read_back(context: Context) -> None:
    details = {"applicator": ["Kim <b>"], "licensed": ["yes"], "gear": ["spreader"]}
    assert own.act(context, {}, "keep_details", details, "")[1]
    product = {"name": ["A & <b>"], "groups": ["4, 6"], "actives": ["MCPA"]}
    own.act(context, {}, "keep_product", product, "")
    own.act(context, {}, "keep_product", product | {"name": ["A & B"]}, "A & <b>")
    page = own.body(context, {"product": "A & B"})
    assert "Kim &lt;b&gt;" in page and "A &amp; B" in page and "A &amp; &lt;b" not in page and 'value="4, 6"' in page
    with open_records() as records:
        assert records.profile().licensed == "yes" and [p.name for p in records.own_products()] == ["A & B"]
        assert check_records(records).faults == ()
    own.act(context, {}, "remove_product", {}, "A & B")
    with pytest.raises(FormError, match="full name on its label"):
        own.act(context, {}, "keep_product", {"name": [""]}, "")
    with pytest.raises(FormError, match="numbers on the label"):
        own.act(context, {}, "keep_product", {"name": ["x"], "groups": ["D"]}, "")
    with pytest.raises(RecordsError):
        own.act(context, {}, "keep_details", {"licensed": ["perhaps"]}, "")


def test_what_cannot_be_read_of_ones_own_details_is_said(tmp_path: Any) -> None:
    with open_records(tmp_path) as records:
        records.database.connection.execute("INSERT INTO notes VALUES ('products', '{}')")
        with pytest.raises(RecordsError, match="cannot be read"):
            records.own_products()
        assert any("products" in fault for fault in check_records(records).faults)


def test_a_follow_up_counts_from_the_day_of_the_visit(recorder: Person) -> None:
    assert 'name="due" type="date" value="2026-12-23"' in recorder.text, "28 days, as the plan says"


def test_the_clients_paper_waits_for_the_signature_and_says_what_to_do_until_when(
    context: Context, recorder: Person
) -> None:
    with pytest.raises(AnswerError, match="not signed yet"):
        text_for_client(1, context.key)
    with open_records() as records:
        kept: Any = records.treatments(visit=1)[0].record
        records.change_treatment(replace(kept, state="", left_out={}))
        full = {name: "given" for name in ("occupier", "equipment", "order_treated", "applicator_address")}
        full |= {"applicator_contact": "0", "business_address": "1 Lane", "withholding": "14 days", "state": "WA"}
        full |= {"client_contact": "0"}
        records.change_treatment(replace(kept, **full, started=kept.weather[0].at))
        records.sign("treatment", kept.id, "Sam", {"state": "over the border"})
    text = text_for_client(1, context.key)
    for words in (
        "The name is certain", "a weed killer that kills certain weeds", "Invented mix", "by the label: dry.",
        "before Wednesday 2 December 2026", "rabbits, guinea pigs or hens", "14 days", "after 14 to 28 days",
        "between 9 December 2026 and 23 December 2026", "Test Lawns", "Licence L 7",
    ):  # fmt: skip
        assert words in text, words
    for words in ("L/ha", "protective", "droplets", "36 mL"):
        assert words not in text, words
    pages = pdf_of(paper_of_visit("client", 1, key=context.key)).pages
    assert len(pages) == 1 and "Dandelion" in pages[0].extract_text()
    page = Person(context, {"plant": recorder.plant}).text
    assert "mailto:ada@example.com?subject=Dandelion%2C%209%20Low%20Street" in page and "/paper/visit/1/client" in page


@pytest.fixture
def both(context: Context, recorder: Person) -> Person:
    """Someone who has found clover on the lawn of the visit as well."""
    other = Person(context, {"way": "name", "visit": "1"}).press("look", month="11").see()
    sees = typical(context.key, CLOVER)
    for _ in range(30):
        if not other.asked():
            break
        other.answer(sees)
    other.press("conclude").press("onward")
    assert other.title == "Add to the visit"
    return other.press("keep_in_visit")


def test_two_weeds_of_a_visit_have_one_plan_one_record_and_one_paper(context: Context, both: Person) -> None:
    with open_records() as records:
        record = visit_record(records, 1)
        assert {naming.species for naming in namings_of(record, context.key)} == {CLOVER, "taraxacum_officinale"}
        assert len(records.visits()) == 1
    assert "One plan for both" in both.text
    person = Person(context, {"way": "known", "visit": "1"}).press("make_plan", lawn="couch", state="NSW", month="11")
    assert " and " in person.title and "One pass for all of them" in person.text
    assert "could still be" not in person.text and "which it is first" not in person.text
    person.choose_a_spray().press("to_record").press("keep_in_visit")
    with open_records() as records:
        kept: Any = [current.record for current in records.treatments(visit=1)]
    assert all(" and " in one.target for one in kept if one.products) or len(kept) == 1
    text = visit_text(context)
    assert "white clover" in text and "dandelion" in text


def visit_text(context: Context) -> str:
    with open_records() as records:
        for current in records.treatments(visit=1):
            record: Any = current.record
            records.change_treatment(replace(record, chemical=False, products=(), weather=(), started=None))
            records.sign("treatment", record.id, "Sam", {one.key: "as it was" for one in records.asked(record.id)})
        visit.show(context, records, 1)
    assert len(pdf_of(paper_of_visit("client", 1, key=context.key)).pages) == 1
    for kind in ("advice", "job"):
        text = pdf_of(paper_of_visit(kind, 1, key=context.key)).pages[0].extract_text()
        assert "hite clover" in text and "andelion" in text and "?" not in text.splitlines()[1]
    return text_for_client(1, context.key).lower()
