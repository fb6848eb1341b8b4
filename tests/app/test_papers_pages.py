"""The papers of whole visits: how many pages they take, that they agree, and that each page says where and when."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, time
from typing import Any

import pytest
from pypdf import PdfReader

from app.papers import client_sheet
from app.papers.pdf import safe
from app.records import Client, FollowUp, KeptFinding, KeptPlan, Product, Reading, Site, Visit, open_records
from app.records.entries import Treatment
from app.services import paper_making as making
from app.services.last_sum import note_sum
from app.services.mixing import SUMS, TITLES, Form, amounts_of
from model.control import Case
from model.errors import AnswerError
from model.identify import Key, identify
from model.traits import check_answers
from tests.app.test_papers import BINDII as WITH_SAP

JULY = date(2026, 7, 8)
SPRAYED = "Selective herbicide: bromoxynil + MCPA"
BINDII = {character: state for character, state in WITH_SAP.items() if character != "milky_sap"}
CANDIDATES = [
    {"species": "hypochaeris_radicata", "probability": 0.5},
    {"species": "taraxacum_officinale", "probability": 0.35},
]
UNDECIDED = {"finding": {"candidates": CANDIDATES}, "status": "undecided", "answers": {"milky_sap": ["present"]}}
WINTER_GRASS = {"species": "poa_annua", "status": "likely", "probability": 0.8, "confirmed_by": "Robin Grower"}
TANK = {"tank": "10", "output": "100", "rate": "2 L/ha", "area": "120"}
LONG = "The Honourable Maximiliana Featherstonehaugh-Cholmondeley and her late brother's executors, trading as a club"


def bindii(key: Key) -> dict[str, Any]:
    answers = check_answers(key.flora.characters, BINDII)
    found = identify(key, answers)
    kept = {name: list(value) if isinstance(value, tuple) else value for name, value in answers.items()}
    return {
        "finding": found.as_json(), "status": found.status, "species": found.species,
        "probability": found.probability, "answers": kept,
    }  # fmt: skip


def kept_visit(
    findings: Sequence[dict[str, Any]], chosen: str = "", day: date = JULY, lawn: str = "buffalo", client: str = ""
) -> int:
    """A visit to a lawn with pets near it."""
    with open_records() as records:
        who = records.add_client(Client(client or "Orla Quillfeather", "0400 000 000", "orla@town.example"))
        site = records.add_site(Site(who.id, "12 Wattle Street, Invented Bay", "NSW", lawn, ("pets",), 220.0))
        visit = records.add_visit(Visit(site.id, day, "Robin Grower"))
        for found in findings:
            records.add_finding(KeptFinding(visit.id, **{"finding": {}, **found}))
        if chosen:
            named = tuple(found["species"] for found in findings)
            case = Case(named, day.month, lawn, state="NSW", near=("pets",), cover=10, stage="young")
            records.add_plan(KeptPlan(visit.id, {"case": replace(case, together=len(named) > 1).as_json()}, chosen))
        records.add_follow_up(FollowUp(site.id, date(2026, 7, 22), "Look again for the weed", visit.id))
        return visit.id


def treated(visit: int, **more: Any) -> Treatment:
    """A treatment of a visit with all that New South Wales asks for, signed."""
    product = Product(
        "Full name as on the label", "bromoxynil 200 g/L + MCPA 200 g/L", (6, 4), "broadleaf weeds in turf",
        "99999/0101", "B17", "12/2028", "2 L/ha", "24 mL",
    )  # fmt: skip
    given: dict[str, Any] = {
        "products": (product,), "method": SPRAYED, "gear": "hand_spray", "equipment": "10 L knapsack",
        "target": "bindii", "plants": "buffalo lawn", "situation": "home lawn", "treated_area": "whole back lawn",
        "area_m2": 120.0, "water_litres": 12.0, "started": time(9, 10), "finished": time(9, 45),
        "weather": (Reading(time(9, 5), 17, 62, 6, "SW"),), "withholding": "Do not graze for 7 days",
        "re_entry": "Do not enter until the spray has dried", "business": "Sedgeman Lawns", "licence": "GA-1234",
        "business_address": "3 Culvert Road, Invented Bay", "business_contact": "0491 570 156", "licensed": "yes",
        "applicator": "Robin Grower", "applicator_address": "3 Culvert Road, Invented Bay",
        "applicator_contact": "0491 570 156", "occupier": "Orla Quillfeather", "order_treated": "one area only",
    }  # fmt: skip
    with open_records() as records:
        kept = records.add_treatment(replace(records.new_treatment(visit), **{**given, **more}))
        records.sign("treatment", kept.id, "Robin Grower")
        return kept


def pages(pdf: bytes) -> list[str]:
    """The words of each page."""
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]


def worked_out(kind: str = "tank", typed: dict[str, str] = TANK) -> None:
    """A sum as `swardkey mix` leaves it."""
    note_sum(TITLES[kind], SUMS[kind](Form(typed)))


def test_a_visit_with_a_spraying_takes_few_pages_and_each_says_what_where_and_when(key: Key) -> None:
    visit = kept_visit([bindii(key)], SPRAYED)
    kept = treated(visit)
    worked_out()
    made = {
        "Spray record": (1, making.record_of_treatment(kept.id)),
        "Your lawn": (1, making.paper_of_visit("client", visit, key=key)),
        "Job sheet": (2, making.job_of_visit(visit, key=key, with_last_sum=True)),
        "Advice": (2, making.paper_of_visit("advice", visit, key=key)),
    }
    for kind, (most, pdf) in made.items():
        found = pages(pdf)
        assert len(found) <= most, kind
        for number, page in enumerate(found, start=1):
            assert kind in page and "12 Wattle Street" in page and "8 July 2026" in page
            assert f"{number} of {len(found)}" in page


def test_an_amended_record_is_one_page(key: Key) -> None:
    kept = treated(kept_visit([bindii(key)], SPRAYED))
    with open_records() as records:
        changed = replace(kept, products=(replace(kept.products[0], batch="B18"),))
        records.amend("treatment", kept.id, changed, "Robin Grower", "the batch was misread")
    (page,) = pages(making.record_of_treatment(kept.id))
    assert "B17 \u2192 B18" in page and "Signed, and amended once" in page


def test_hand_work_with_a_sum_is_one_page_that_names_no_herbicide(key: Key) -> None:
    visit = kept_visit([bindii(key)], "Hand removal")
    worked_out("granule", {"rate": "16 g/m2", "area": "120"})
    (page,) = pages(making.job_of_visit(visit, key=key, with_last_sum=True))
    assert "Hand removal" in page and "granules on 120 m\u00b2 1.92 kg" in page
    assert not any(word in page for word in ("bromoxynil", "withholding", "Poison", "Licence"))


def test_two_weeds_together_take_three_pages_and_both_years_share_a_legend(key: Key) -> None:
    visit = kept_visit([bindii(key), WINTER_GRASS], "Hand removal")
    found = pages(making.paper_of_visit("advice", visit, key=key))
    assert "Hand removal. Winter grass: " in found[0], "a sentence that begins with a plant begins with a capital"
    text = " ".join(found)
    assert len(found) <= 3 and len(found[-1]) > 1000, "the last page is worth its paper"
    assert "Winter grass Robin Grower looked at it" in text and "Bindii Likely: bindii" in text, "each under its name"
    assert "The year of winter grass" in text and "The year of bindii" in text
    assert text.count("Filled: what the plant does") == 1


def test_what_a_person_confirmed_is_not_called_unconfirmed_beside_it(key: Key) -> None:
    visit = kept_visit([WINTER_GRASS])
    advice, job = (
        " ".join(pages(pdf))
        for pdf in (making.paper_of_visit("advice", visit, key=key), making.job_of_visit(visit, key=key))
    )
    for text in (advice, job, making.text_for_client(visit, key)):
        assert "Robin Grower looked at it and confirmed the name." in text
        assert "Not confirmed yet" not in text and "Likely:" not in text


def test_the_papers_of_an_undecided_weed_all_ask_which_it_is(key: Key) -> None:
    visit = kept_visit([UNDECIDED], day=date(2026, 11, 8), lawn="couch")
    made = [making.paper_of_visit(name, visit, key=key) for name in ("advice", "client", "job")]
    for pdf in made:
        assert "Catsear or dandelion? Hypochaeris radicata or Taraxacum officinale" in pages(pdf)[0]
    assert "Your lawn: what was found" in pages(made[1])[0] and "and done" not in pages(made[1])[0]
    assert len(pages(made[0])) <= 2


def test_a_long_name_in_the_head_leaves_room_for_the_day(key: Key) -> None:
    visit = kept_visit([bindii(key)], client=LONG)
    for page in pages(making.paper_of_visit("client", visit, key=key)):
        assert "Your lawn: what was found" in page and "8 July 2026" in page and "\u2026" in page


@pytest.mark.parametrize(
    ("kind", "typed"),
    [
        ("tank", TANK),
        ("tank", {"tank": "15", "output": "600", "rate": "2.25 lb/kft2", "area": "333"}),
        ("spot", {"volume": "7", "rate": "10 mL/L"}),
        ("granule", {"rate": "16.5 g/m2", "area": "87.5"}),
    ],
)
def test_the_amount_on_the_job_sheet_is_that_of_the_sum_and_of_the_record(
    key: Key, kind: str, typed: dict[str, str]
) -> None:
    result = SUMS[kind](Form(typed))
    amounts = amounts_of(result, typed)
    visit = kept_visit([bindii(key)], SPRAYED)
    product = Product("As on the label", "MCPA 250 g/L", (4,), "turf", "1/1", "B1", "1/2029", typed["rate"])
    kept = treated(visit, products=(replace(product, total_amount=amounts.total),))
    worked_out(kind, typed)
    job = " ".join(pages(making.job_of_visit(visit, key=key, with_last_sum=True)))
    record = " ".join(pages(making.record_of_treatment(kept.id)))
    assert amounts.total in [amount for _, amount in result.rows] or amounts.total == result.rows[0][1]
    assert f"{amounts.total} " in job and f"{amounts.total} " in record and typed["rate"] in record


def test_the_client_reads_whole_sentences(key: Key) -> None:
    visit = kept_visit([bindii(key), WINTER_GRASS], "Hand removal")
    treated(visit, chemical=False, products=(), weather=(), method="Hand removal")
    text = making.text_for_client(visit, key)
    assert "Treatment: Hand removal (pulled or dug out)" in text
    assert "What it won't fix: seed in the soil, and burrs already shed." in text, "nothing twice"
    label = client_sheet._lower_first("Do not enter until it is dry"), client_sheet._lower_first("WHP: 7 days")
    assert label == ("do not enter until it is dry", "WHP: 7 days")


def test_blanks_of_any_kind_stay_blanks() -> None:
    assert safe("12\u00a0Wattle\u2003Street\u200b") == "12\u00a0Wattle Street"


def test_a_plant_that_is_not_on_file_is_no_reason_to_identify_it_again(key: Key) -> None:
    visit = kept_visit([{"status": "unlisted"}])
    with pytest.raises(AnswerError, match=r"no plant on file fits what was seen.*herbarium or weeds officer"):
        making.paper_of_visit("client", visit, key=key)
