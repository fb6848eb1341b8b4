"""The demo: the prepared record book of an invented town, moved to the season before today, in a folder of its own."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from app.commands.demo import DemoError, make_demo
from app.demo import demo_book as book
from app.demo.make import finding_of
from app.records import Records, check_records, missing_fields, open_records
from app.services.home import DEMO_MARK, is_demo
from app.services.visit_papers import kept_case
from app.web.frame import head
from model.control import Control, plan
from model.identify import Key, identify
from model.traits import check_answers

TODAY = date(2026, 11, 25)
BOOK = book.read_book()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A demo, filled once for all tests here."""
    base = tmp_path_factory.mktemp("demo")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SWARDKEY_HOME", str(base / "own"))
        assert make_demo(base / "town", TODAY) and not (base / "own").exists(), "nothing of the user is touched"
    return base / "town"


@pytest.fixture
def records(folder: Path) -> Iterator[Records]:
    with open_records(folder / "records") as found:
        yield found


def visited(records: Records) -> list[Any]:
    """The records of the visits, the first visit first."""
    return [records.current("visit", visit.id).record for visit in reversed(records.visits())]


def test_two_clients_three_sites_and_a_season(records: Records, folder: Path) -> None:
    assert is_demo(folder) and len(records.clients()) == 2 and len(records.sites()) == 3
    visits = records.visits()
    assert len(visits) == len(BOOK["visits"]) >= 10
    assert all(TODAY - timedelta(days=370) <= visit.day <= TODAY - timedelta(days=book.LATEST) for visit in visits)
    found = check_records(records)
    assert found.sound and found.photos == sum(len(visit["photos"]) for visit in BOOK["visits"])


def test_findings_are_those_of_the_model_and_the_key(records: Records, key: Key) -> None:
    findings = [record.findings[0] for record in visited(records)]
    assert (
        {"confirmed", "undecided"} <= {f.status for f in findings} <= {"confirmed", "likely", "undecided", "unlisted"}
    )
    assert all(f.answers and f.visible and f.finding["candidates"] and f.finding["photos"] for f in findings)
    for found in findings:
        answers = check_answers(key.flora.characters, found.answers)
        assert (
            identify(key, answers, visible=found.visible).candidates[0].species
            == found.finding["candidates"][0]["species"]
        )
    assert any(f.confirmed_by for f in findings) and not any(f.confirmed_by for f in findings if not f.species)
    assert any(f.finding["override"] for f in findings), "the answers overturn a photo somewhere"
    stranger = next(v for v in BOOK["visits"] if v["photos"] == ["garden_flower_flowering_5.jpg"])
    assert next(f for f in findings if list(f.answers) == list(stranger["answers"])).species is None


def test_the_findings_are_made_by_the_command(key: Key) -> None:
    made = finding_of(BOOK["visits"][3], key)
    assert (made["species"], made["status"]) == ("taraxacum_officinale", "confirmed")
    assert [photo["file"] for photo in made["photos"]] == BOOK["visits"][3]["photos"]


def test_what_was_chosen_suits_the_plan_of_that_day(records: Records, control: Control) -> None:
    used = []
    for record in visited(records):
        if record.plans:
            case = kept_case(record)
            assert case is not None
            suited = [option.name for option in plan(control, case).options if option.suited == "yes"]
            assert record.plans[0].chosen in suited, (record.visit, suited)
            used.append(case.used)
    assert used[0] == () and any(used), "later plans know the groups used before"


def test_treatments_are_signed_one_amended_one_waiting(records: Records) -> None:
    treatments: Any = records.treatments()
    sprayed = [current for current in treatments if current.record.chemical]
    assert len(sprayed) >= 3 and [len(current.chain) for current in treatments].count(2) == 1
    for current in sprayed:
        product, weather = current.record.products[0], current.record.weather[0]
        assert product.groups and "label" in product.rate and weather.delta_t
        assert not any(c.isdigit() for c in product.rate + product.total_amount), "rates are never written here"
    (waiting,) = records.unsigned()
    assert [lack.field for lack in missing_fields(waiting.treatment)] == ["wind_direction"]
    times = [row["signed_at"] for row in records.database.read("SELECT signed_at FROM signed ORDER BY sequence")]
    assert times == sorted(times) and times[-1] < TODAY.isoformat()


def test_one_follow_up_is_overdue_and_others_are_to_come(records: Records) -> None:
    overdue = records.overdue(TODAY)
    assert len(overdue) == 1 and overdue[0].due == TODAY - timedelta(days=9)
    assert len(records.follow_ups()) >= 3 and len(records.follow_ups(open_only=False)) > len(records.follow_ups())
    for item in records.follow_ups(open_only=False):
        assert item.visit is None or records.visit(item.visit).day <= item.due


def test_its_papers_can_be_made_and_every_page_says_that_it_is_a_demo(
    folder: Path, records: Records, key: Key, control: Control, monkeypatch: pytest.MonkeyPatch
) -> None:
    from app.services.paper_making import paper_of_visit, record_of_treatment
    from app.web.visit_page import papers

    assert "invented town" not in head("/")
    monkeypatch.setenv("SWARDKEY_HOME", str(folder))
    assert "invented town" in head("/") and "invented town" in head("/records")
    for visit in records.visits()[:2]:
        for address, _ in papers(records.current("visit", visit.id).record):
            assert paper_of_visit(address.rsplit("/", 1)[1], visit.id, key=key).startswith(b"%PDF-")
    assert record_of_treatment(records.treatments()[0].record.id).startswith(b"%PDF-")


def test_a_second_call_opens_the_same(folder: Path) -> None:
    before = (folder / "records" / "records.sqlite").stat().st_mtime_ns
    assert not make_demo(folder, TODAY)
    assert (folder / "records" / "records.sqlite").stat().st_mtime_ns == before


def test_a_folder_with_something_else_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "dear.txt").write_text("Dear all")
    monkeypatch.setenv("SWARDKEY_HOME", str(tmp_path / "own"))
    for name, message in (("letters", "holds something else"), ("letters/dear.txt", "is a file"), ("own", "your own")):
        with pytest.raises(DemoError, match=message):
            make_demo(tmp_path / name)
    assert not (tmp_path / "own").exists() and [p.name for p in (tmp_path / "letters").iterdir()] == ["dear.txt"]


def test_what_was_interrupted_is_filled_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(book, "enter_book", stopped)
    with pytest.raises(KeyboardInterrupt):
        make_demo(tmp_path / "town", TODAY)
    assert not (tmp_path / "town").exists() and (tmp_path / ".town.new" / DEMO_MARK).is_file()
    monkeypatch.setattr(book, "enter_book", lambda folder, today: None)
    assert make_demo(tmp_path / "town", TODAY) and not (tmp_path / ".town.new").exists()


@pytest.mark.parametrize("today", [date(2027, 1, 1), date(2027, 5, 14), date(2027, 12, 10), date(2028, 2, 29)])
def test_the_season_ends_before_any_day(today: date) -> None:
    days = [book.last_before(today, visit["day"]) for visit in BOOK["visits"]]
    assert max(days) <= today - timedelta(days=book.LATEST)
    assert min(days) > today - timedelta(days=366 + book.LATEST)
