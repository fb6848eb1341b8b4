"""Two people with the same record open in two browsers: what one saves is never lost to what the other had loaded."""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor
from types import ModuleType

import pytest

from app.records import open_records
from app.services.home import home
from app.web import own_page as own
from app.web import records_page as records
from app.web.context import Context
from model.control import Control
from model.identify import Key
from tests.app.page_visitor import context_of
from tests.app.record_book import book
from tests.app.test_page_places import page, press

SAYS = "Somebody else changed this after you opened it, so nothing was saved yet."
VISIT, SITE = {"visit": "1"}, {"site": "1"}
DONE = {"day": "2026-06-01", "method": "Hand removal", "applicator": "Kim"}


@pytest.fixture
def context(key: Key, control: Control) -> Context:
    book(home() / "records")
    made = context_of(key, control)
    press(made, records, VISIT, "new_treatment", "by_hand")
    return made


def opened(context: Context, place: ModuleType, at: dict[str, str], do: str) -> dict[str, str]:
    """What the form of a button says it was made from, as one browser loaded it."""
    form = next(form for form in re.findall("<form.*?</form>", page(context, place, **at), re.S) if do in form)
    return dict(re.findall('name="(seen)" value="([0-9a-f]{16})"', form))


def test_what_one_saved_is_not_undone_by_a_page_loaded_before(context: Context) -> None:
    mine = yours = opened(context, records, VISIT, 'data-do="keep_treatment" data-with="2"')
    assert SAYS not in press(context, records, VISIT, "keep_treatment", "2", **DONE, **mine, notes="by the gate")
    for do in ("keep_treatment", "sign_treatment"):
        assert SAYS in press(context, records, VISIT, do, "2", **DONE, **yours, who="Kim", notes="")
    with open_records() as found:
        kept = found.treatment_row(2)
        assert (kept.notes, found.versions("treatment", 2)) == ("by the gate", ())
    now = opened(context, records, VISIT, 'data-do="sign_treatment" data-with="2"')
    assert SAYS not in press(context, records, VISIT, "sign_treatment", "2", **DONE, **now, who="Kim", notes="both")
    mine = yours = opened(context, records, VISIT, 'data-do="amend" data-with="2"')
    why = {"who": "Lee", "reason": "wrong gate"}
    assert SAYS not in press(context, records, VISIT, "amend", "2", **DONE, **mine, **why, notes="back gate")
    assert SAYS in press(context, records, VISIT, "amend", "2", **DONE, **yours, **why, notes="both", target="bindii")
    with open_records() as found:
        assert len(found.versions("treatment", 2)) == 2


def test_nobody_signs_or_confirms_what_was_added_after_the_page_was_loaded(context: Context) -> None:
    sign, confirm = (opened(context, records, VISIT, f'data-do="{do}"') for do in ("sign_visit", "confirm"))
    with open_records() as found:
        found.add_finding(found.current("visit", 1).record.findings[0])  # type: ignore[union-attr]
    assert SAYS in press(context, records, VISIT, "sign_visit", **sign, who="Kim")
    assert SAYS in press(context, records, VISIT, "confirm", **confirm, by="Kim")
    sign = opened(context, records, VISIT, 'data-do="sign_visit"')
    assert SAYS not in press(context, records, VISIT, "sign_visit", **sign, who="Kim")


def test_a_site_and_own_details_of_two_people(context: Context) -> None:
    mine = opened(context, records, SITE, 'data-do="change"')
    given = {"address": "5 Rill Street", "client": "Mara", "lawn": "couch", "state": "VIC"}
    assert SAYS not in press(context, records, SITE, "change", **given, **mine, notes="a dog")
    assert SAYS in press(context, records, SITE, "change", **given, **mine)
    mine = opened(context, own, {}, "keep_details")
    assert SAYS not in press(context, own, {}, "keep_details", **mine, applicator="Kim")
    assert SAYS in press(context, own, {}, "keep_details", **mine, applicator="Lee")
    with open_records() as found:
        assert (found.site(1).notes, found.profile().applicator) == ("a dog", "Kim")


def test_of_several_who_sign_the_same_at_once_one_signs_what_was_on_the_page(context: Context) -> None:
    mine = opened(context, records, VISIT, 'data-do="sign_treatment" data-with="2"')

    def sign(who: str) -> bool:
        fields = DONE | mine | {"who": who, "applicator": who, "notes": who}
        return "is signed: from now on" in press(context, records, VISIT, "sign_treatment", "2", **fields)

    with ThreadPoolExecutor(4) as people:
        done = list(people.map(sign, ("Kim", "Lee", "Sam", "Max")))
    with open_records() as found:
        ((signed, record),) = found.versions("treatment", 2)
    assert done.count(True) == 1 and signed.signed_by == record.notes == ("Kim", "Lee", "Sam", "Max")[done.index(True)]  # type: ignore[union-attr]
