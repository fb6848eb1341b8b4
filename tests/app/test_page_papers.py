"""Papers from the pages: for the case as it was given, with what was decided, and none for a plant without a name."""

from __future__ import annotations

import html
import re
from dataclasses import replace

import pytest
from starlette.applications import Starlette
from starlette.testclient import TestClient

from app.records import KeptFinding, open_records
from app.services.paper_making import paper_of_visit
from app.services.visit_papers import decided_option, kept_case, namings_of, plan_of, visit_record
from app.web import paper_files as paper
from app.web import records_page as records
from app.web import visit_page as visit
from app.web.context import Context
from app.web.draft import Draft, new_id
from app.web.files import routes
from app.web.finding_page import plan_species
from app.web.frame import FormError
from app.web.plan_page import chosen
from model.control import Control
from model.errors import AnswerError
from model.identify import Key
from tests.app.page_visitor import Person, context_of
from tests.app.test_page_plan import at_the_lawn


@pytest.fixture
def context(key: Key, control: Control) -> Context:
    return context_of(key, control)


@pytest.fixture
def kept(context: Context) -> int:
    """A visit with another place, cover and stage than usual, and a spray chosen."""
    person = at_the_lawn(context).press(
        "make_plan", lawn="couch", place="paving", month="4", cover="30", stage="young", state="NSW", near=["pets"],
        used=["9"],
    )  # fmt: skip
    found = re.findall(r'name="choice"[^>]* value="([^"]+)"', person.text)
    person.press("choose", choice=html.unescape(found[-1]))
    if person.title == "Spray window and sums":
        person.press("to_record")
    person.press("keep", day="2026-11-25", who="Sam", client="A", address="1 Low Street", state="NSW")
    with open_records() as book:
        return book.visits()[0].id


def test_papers_use_the_case_of_the_plan_that_was_kept(context: Context, kept: int) -> None:
    with open_records() as book:
        record = visit_record(book, kept)
        case = kept_case(record)
        made = plan_of(book, record, namings_of(record, context.key)[0], context.control)
        changed = plan_of(book, record, namings_of(record, context.key)[0], context.control, place="lawn", cover=0.0)
    assert case is not None and made.case == case
    assert (case.place, case.cover, case.stage, case.month, case.used) == ("paving", 30, "young", 4, (9,))
    assert (changed.case.place, changed.case.cover, changed.case.stage) == ("lawn", 0.0, "young")
    assert [option.name for option in decided_option(record, made)] == [record.plans[0].chosen]


def test_what_was_kept_by_the_former_name_of_a_method_is_found(context: Context, kept: int) -> None:
    with open_records() as book:
        record = visit_record(book, kept)
        made = plan_of(book, record, namings_of(record, context.key)[0], context.control, place="lawn")
    former = replace(record, plans=(replace(record.plans[0], chosen="Mend the cause"),))
    assert [option.method for option in decided_option(former, made)] == ["cultural"]
    person = Person(context).press("look", month="11").prove().press("onward")
    draft = context.drafts.read(person.press("make_plan", lawn="couch", place="lawn", month="11").plant)
    assert draft is not None
    option = chosen(context, replace(draft, choice="mend"))
    assert option is not None and option.method == "cultural"


def test_a_visit_without_a_case_is_planned_for_its_site_and_month(context: Context, kept: int) -> None:
    with open_records() as book:
        record = visit_record(book, kept)
        old = {k: v for k, v in record.plans[0].plan.items() if k != "case"}
        before = replace(record, plans=(replace(record.plans[0], plan=old),))
        made = plan_of(book, before, namings_of(record, context.key)[0], context.control)
    assert kept_case(before) is None and (made.case.month, made.case.place) == (11, "lawn")


def test_the_job_sheet_of_a_visit_has_what_was_decided_only(
    context: Context, kept: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheets = []
    monkeypatch.setattr("app.papers.job_sheet.job_paper", lambda sheet, *rest: sheets.append(sheet) or b"%PDF-")
    paper_of_visit("job", kept, key=context.key)
    with open_records() as book:
        chosen = visit_record(book, kept).plans[0].chosen
    assert [option.name for option in sheets[0].options] == [chosen]


def never_found(context: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    """From now on no plant of the flora explains what is seen."""
    unlisted = replace(context.finding(Draft(new_id())), status="unlisted", species=None)
    monkeypatch.setattr(Context, "finding", lambda self, draft: unlisted)


def test_no_advice_for_a_plant_that_is_not_in_the_list(context: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    draft = Draft(new_id(), lawn={"lawn": "couch"}, answers={})
    never_found(context, monkeypatch)
    assert plan_species(context, draft) == ()
    for kind in ("advice", "job"):
        with pytest.raises(FormError):
            paper.PAPERS[kind](context, draft)


def test_a_plant_without_a_plan_is_kept_as_a_visit_without_papers(
    context: Context, monkeypatch: pytest.MonkeyPatch
) -> None:
    person = Person(context).press("look", month="11").press("conclude")
    never_found(context, monkeypatch)
    person.press("to_record").press("keep", day="2026-11-25", who="Sam", client="A", address="1 Low Street")
    assert person.title == "The record of the visit" and "a plant not on file" in person.text
    assert "/paper/visit/" not in person.text and 'data-do="confirm"' not in person.text
    with open_records() as book, pytest.raises(AnswerError):
        namings_of(visit_record(book, 1), context.key)[0]


def test_who_confirms_must_be_given(context: Context, kept: int) -> None:
    with pytest.raises(FormError, match="Who confirms"):
        visit.act(context, kept, "confirm", {"by": [""]}, "")
    assert visit.act(context, kept, "confirm", {"by": ["Kim"]}, "") == (["Confirmed by Kim."], "")


def test_findings_are_shared_as_the_form_says(context: Context, kept: int) -> None:
    form = TestClient(Starlette(routes=routes(context)))
    table = form.get("/paper/shared", params={"as": "csv", "by": "Own Lawns", "licence": "CC0"})
    assert table.headers["content-type"].startswith("text/csv") and "Taraxacum officinale" in table.text
    assert "Low Street" not in table.text
    sent = {"by": "Own Lawns", "licence": "CC BY", "places": "2", "names": "yes"}
    archive = form.get("/paper/shared", params=sent)
    assert archive.headers["content-type"] == "application/zip" and archive.content.startswith(b"PK")
    refused = form.get("/paper/shared", params={"by": " ", "licence": "CC BY"})
    assert refused.status_code == 409 and "publisher" in refused.text and not refused.text.startswith("--")


def test_a_search_leads_to_the_visit_in_words(context: Context, kept: int) -> None:
    with open_records() as book:
        book.add_finding(KeptFinding(kept, {"candidates": []}, "undecided"))
    shown = records.body(context, {"q": "dandelion"})
    assert f'href="/records?visit={kept}"' in shown and "taraxacum_officinale" not in shown
    assert "25 November 2026, 1 Low Street" in shown
