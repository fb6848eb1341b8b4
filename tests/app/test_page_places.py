"""Flora, records and the printed key as pages, without a browser."""

from __future__ import annotations

import html
import re
import time
from datetime import date
from types import ModuleType
from typing import Any

import pytest

from app.records import Client, FollowUp, Site, Visit, open_records
from app.services.home import home
from app.web import flora_page as flora
from app.web import key_page as printed
from app.web import records_page as records
from app.web.background import Work
from app.web.context import Context
from app.web.flora_page import Wanted, fits
from app.web.message import Message, read_address
from app.web.page import Pages
from app.web.side_pages import SidePage
from model.control import Control
from model.identify import Key
from tests.app.page_visitor import context_of


@pytest.fixture
def context(key: Key, control: Control) -> Context:
    return context_of(key, control)


def page(context: Context, module: ModuleType, **address: str) -> str:
    return SidePage(context, module).open(address)


def press(context: Context, module: ModuleType, at: dict[str, str], do: str, which: str = "", **fields: str) -> str:
    given = {name: [value] for name, value in fields.items()}
    return SidePage(context, module).press(Message(at, do=do, which=which, fields=given))


def address_in(page: str) -> dict[str, str]:
    """What the browser is to show behind the address of the place."""
    found = re.search(r'data-address="([^"]*)"', page)
    return read_address(html.unescape(found[1]) if found else "")


def test_the_flora_is_filtered_by_name_month_family_and_character(context: Context) -> None:
    assert f"{len(context.key.flora.ids)} of {len(context.key.flora.ids)} plants" in page(context, flora)
    plant = context.key.flora.species["soliva_sessilis"]
    assert fits(context, plant, Wanted(text="Bindy eye")) and not fits(context, plant, Wanted(text="clover"))
    assert fits(context, plant, Wanted(month=9)) and not fits(context, plant, Wanted(month=2))
    assert not fits(context, plant, Wanted(family="Poaceae"))
    assert fits(context, plant, Wanted(character="seed_structure", state="winged_spine_seed"))
    assert not fits(context, plant, Wanted(character="leaf_build", state="grassy"))
    found = press(context, flora, {}, "filter", q="bindii", month="9")
    assert address_in(found) == {"q": "bindii", "month": "9"} and "1 of" in found


def test_the_page_of_a_species_has_traits_sources_calendar_and_look_alikes(context: Context) -> None:
    text = page(context, flora, species="soliva_sessilis")
    for words in ("Soliva sessilis", "The year of bindii", "Often mistaken for", "Characters", "Sources", "[NSW"):
        assert words in text
    assert "never learned a photo" in text
    assert "The flora" in page(context, flora, species="<script>alert(1)</script>")


@pytest.mark.parametrize("given", ["²", "٣", "9" * 20, "9" * 5000, "abc", "-1", "1.5"])
def test_a_number_that_is_none_is_one_sentence(context: Context, given: str) -> None:
    there_is_none = re.compile(r"There is no (visit|site|follow-up) [^<]* in the records; choose one that is listed.")
    for address in ({"visit": given}, {"site": given}):
        for shown in (
            page(context, records, **address),
            press(context, records, address, "change"),
            press(context, records, {}, "done", given),
            Pages(context).open({"way": "known", **address}),
        ):
            assert there_is_none.search(html.unescape(shown)), (address, shown[:2000])
    assert not list((home() / "faults").glob("*"))


def test_every_species_has_a_page(context: Context) -> None:
    for species in context.key.flora.ids:
        assert context.key.flora.species[species].scientific_name in page(context, flora, species=species)


@pytest.fixture
def visit() -> int:
    with open_records() as book:
        client = book.add_client(Client(name="Mara & Sons"))
        site = book.add_site(Site(client=client.id, address="4 Rill Street", state="NSW"))
        kept = book.add_visit(Visit(site=site.id, day=date(2026, 6, 2), who="Sam"))
        book.add_follow_up(FollowUp(site=site.id, due=date(2026, 6, 20), what="Survivors", visit=kept.id))
    return kept.id


def test_records_show_what_is_due_find_again_and_lead_to_history(context: Context, visit: int) -> None:
    text = page(context, records)
    assert "Survivors" in text and "overdue" in text and "Mara &amp; Sons" in text
    assert "4 Rill Street" in press(context, records, {}, "search", q="rill")
    assert "2 June 2026" in page(context, records, site="1").replace("02 June", "2 June")
    assert "Done: Survivors" in press(context, records, {}, "done", "1")
    shown = page(context, records)
    assert "overdue" not in shown and "Done in the last two weeks: 1" in shown
    assert "To be looked at again: Survivors" in press(context, records, {}, "undo", "1")
    assert "Done: Survivors, two left" in press(context, records, {"site": "1"}, "done", "1", outcome="two left")
    shown = page(context, records, site="1")
    assert "Survivors: two left" in shown and 'data-do="undo" data-with="1"' in shown
    assert "there is no follow up 99" in press(context, records, {}, "undo", "99").lower()
    assert "Noted: group 4" in press(context, records, {"site": "1"}, "tell_group", group="4", day="2026-03-01")
    assert "group <b>4</b>" in page(context, records, site="1")
    press(context, records, {"site": "1"}, "change", address="5 Rill Street", client="Mara", lawn="couch", area="250")
    with open_records() as book:
        site = book.site(1)
    assert (site.address, site.lawn, site.area_m2) == ("5 Rill Street", "couch", 250)


def test_a_client_is_called_or_written_to_with_one_tap(context: Context, visit: int) -> None:
    given = {"address": "4 Rill Street", "client": "Mara", "phone": "(08) 5550 1234", "email": "mara@example.org"}
    shown = press(context, records, {"site": "1"}, "change", **given)
    assert 'href="tel:0855501234"' in shown and 'href="mailto:mara%40example.org"' in shown


def test_work_without_a_chemical_is_filled_in_signed_and_amended(context: Context, visit: int) -> None:
    at = {"visit": str(visit)}
    press(context, records, at, "new_treatment", "by_hand")
    filled = {"day": "2026-06-02", "method": "Hand removal", "applicator": "Sam", "who": "Sam"}
    signed = press(context, records, at, "sign_treatment", "1", **filled)
    assert "is signed" in signed and "Amend it" in signed
    assert "Amended" in press(context, records, at, "amend", "1", **{**filled, "method": "Mowing"}, reason="was mown")
    with open_records() as book:
        assert [version.method for _, version in book.versions("treatment", 1)] == ["Hand removal", "Mowing"]  # type: ignore[union-attr]


def test_a_spray_is_filled_in_with_products_and_readings(context: Context, visit: int) -> None:
    at = {"visit": str(visit)}
    press(context, records, at, "new_treatment", "spray")
    told = {
        "day": "2026-06-02",
        "product-0-name": "Label name",
        "product-0-groups": "4, 6",
        "weather-0-wind_speed": "9",
    }
    press(context, records, at, "another", "product:1", **told)
    with open_records() as book:
        kept: Any = book.treatments(visit=visit)[0].record
    assert [p.name for p in kept.products] == ["Label name", "next product"] and kept.groups == (4, 6)
    assert kept.weather[0].wind_speed == 9
    for bad, words in (
        ({"product-0-groups": "four"}, "group"),
        ({"started": "5pm"}, "5pm"),
        ({"day": "soon"}, "is not a date"),
    ):
        assert words in press(context, records, at, "keep_treatment", "1", **{**told, **bad})
    assert "belongs to another visit" in press(context, records, at, "keep_treatment", "99", **told)
    assert "no visit 77" in page(context, records, visit="77") or "there is no" in page(context, records, visit="77")


def test_the_printed_key_is_offered_for_a_month(context: Context) -> None:
    shown = page(context, printed, month="6")
    assert 'data-do="make"' in shown and '<option value="6" selected>' in shown
    assert '<option value="1" selected>' not in page(context, printed, month="0")


def test_the_printed_key_is_made_beside_the_page_and_then_there(
    context: Context, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(printed, "_made", {})
    monkeypatch.setattr(printed, "work", work := Work())
    shown = press(context, printed, {}, "make", month="1")
    assert "Making the PDF" in shown and "data-running" in shown and address_in(shown) == {"month": "1"}
    deadline = time.monotonic() + 120
    while work.state.running:
        assert time.monotonic() < deadline
        time.sleep(0.01)
    shown = page(context, printed, month="1")
    assert "The key for January is ready" in shown and 'href="/paper/key?month=1"' in shown
    assert printed.pdf(context, 1) is printed.pdf(context, 1), "made once"
    assert "is not a month" in press(context, printed, {}, "make", month="13")
