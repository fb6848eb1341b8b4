"""The demo: an invented town that is filled by the real model, key and plans, in a folder of its own."""

from __future__ import annotations

import os
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
import yaml

from app.commands.demo import DemoError, make_demo
from app.demo.town import SETTLED, Town, last_before, load_town
from app.records import Records, check_records, missing_fields, open_records
from app.services.home import DEMO_MARK, is_demo
from app.web.frame import head
from model.control import Control
from model.errors import FloraError
from model.flora.load import CONFIGS
from model.identify import Key
from training.drawn.samples import GARDEN_FLOWER

TODAY = date(2026, 11, 25)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A demo, filled once for all tests here; the user's own folder has something in it."""
    base = tmp_path_factory.mktemp("demo")
    with pytest.MonkeyPatch.context() as patch:
        own = base / "own"
        own.mkdir()
        patch.setenv("SWARDKEY_HOME", str(own))
        assert make_demo(base / "town", TODAY, quiet=True)
        assert os.environ["SWARDKEY_HOME"] == str(own) and not list(own.iterdir()), "nothing of the user is touched"
    yield base / "town"


@pytest.fixture
def records(folder: Path) -> Iterator[Records]:
    with open_records(folder / "records") as found:
        yield found


def test_two_clients_three_sites_and_a_season(records: Records, folder: Path) -> None:
    assert is_demo(folder) and not list((folder / "drafts").iterdir())
    assert len(records.clients()) == 2 and len(records.sites()) == 3
    visits = records.visits()
    assert 10 <= len(visits) <= 14
    assert all(TODAY - timedelta(days=370) <= visit.day <= TODAY - timedelta(days=SETTLED) for visit in visits)
    found = check_records(records)
    assert found.sound and found.photos >= len(visits)


def test_findings_are_those_of_the_model_and_the_key(records: Records) -> None:
    kept: Any = [records.current("visit", visit.id).record for visit in records.visits()]
    findings = [record.findings[0] for record in kept]
    assert {"confirmed"} <= {f.status for f in findings} <= {"confirmed", "likely", "undecided", "unlisted"}
    assert all(f.visible and "leaves" in f.visible and not f.finding["set_aside"] for f in findings)
    assert all(f.finding["candidates"] and f.finding["photos"][0]["usable"] for f in findings)
    assert all(f.answers for f in findings), "a name rests on answers"
    town = load_town()
    seen = {(day, visit.species): visit for day, visit in town.season(TODAY)}
    stranger = next(
        f for visit, f in zip(seen.values(), reversed(findings), strict=True) if visit.plant == GARDEN_FLOWER
    )
    assert stranger.species is None and stranger.status in ("unlisted", "undecided"), "what is not on file gets no name"
    right = [f.species == species for (_, species), f in zip(seen, reversed(findings), strict=True) if f.species]
    assert len(right) >= 10 and all(right)
    assert any(f.confirmed_by for f in findings) and not any(f.confirmed_by for f in findings if not f.species)
    assert sum(f.finding["override"] is not None for f in findings) >= 1, "the answers overturn a photo somewhere"


def test_treatments_are_signed_one_amended_one_waiting(records: Records) -> None:
    treatments = [current for current in records.treatments()]
    sprayed: Any = [current for current in treatments if getattr(current.record, "chemical", False)]
    assert len(sprayed) >= 3
    assert [len(current.chain) for current in treatments].count(2) == 1
    assert len(records.unsigned()) == 1 and not missing_fields(records.unsigned()[0].treatment)
    for current in sprayed:
        product = current.record.products[0]
        assert product.groups and "label" in product.rate and not any(c.isdigit() for c in product.rate)
        assert current.record.weather[0].wind_direction and current.record.weather[0].delta_t
    times = [row["signed_at"] for row in records.database.read("SELECT signed_at FROM signed ORDER BY sequence")]
    assert times == sorted(times) and times[-1] < TODAY.isoformat()
    assert records.groups_used(records.sites()[0].id)


def test_later_plans_know_the_groups_used_before(records: Records) -> None:
    used = []
    for visit in reversed(records.visits()):
        record: Any = records.current("visit", visit.id).record
        used += [tuple(plan.plan["case"]["used"]) for plan in record.plans]
    assert used[0] == () and any(used)


def test_one_follow_up_is_overdue_and_others_are_to_come(records: Records) -> None:
    overdue = records.overdue(TODAY)
    assert len(overdue) == 1 and overdue[0].due == TODAY - timedelta(days=9)
    assert len(records.follow_ups()) >= 3 and len(records.follow_ups(open_only=False)) > len(records.follow_ups())
    for item in records.follow_ups(open_only=False):
        assert item.visit is None or records.visit(item.visit).day <= item.due


def test_the_papers_of_every_visit_can_be_made(
    folder: Path, records: Records, key: Key, control: Control, monkeypatch: pytest.MonkeyPatch
) -> None:
    from app.web.paper_files import of_treatment, of_visit
    from app.web.visit_page import papers
    from tests.app.page_visitor import context_of

    monkeypatch.setenv("SWARDKEY_HOME", str(folder))
    context, made = context_of(key, control), 0
    for visit in records.visits():
        for address, _ in papers(records.current("visit", visit.id).record):
            assert of_visit(context, visit.id, address.rsplit("/", 1)[1]).startswith(b"%PDF-")
            made += 1
    for current in records.treatments()[:2]:
        assert of_treatment(current.record.id).startswith(b"%PDF-")
    assert made >= 2 * 10


def test_a_second_call_opens_the_same(folder: Path) -> None:
    before = (folder / "records" / "records.sqlite").stat().st_mtime_ns
    assert not make_demo(folder, TODAY)
    assert (folder / "records" / "records.sqlite").stat().st_mtime_ns == before


def test_every_page_of_it_says_that_it_is_a_demo(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "invented town" not in head("/")
    monkeypatch.setenv("SWARDKEY_HOME", str(folder))
    assert "invented town" in head("/") and "invented town" in head("/records")


def test_a_folder_with_something_else_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "dear.txt").write_text("Dear all")
    with pytest.raises(DemoError, match="holds something else"):
        make_demo(tmp_path / "letters")
    with pytest.raises(DemoError, match="is a file"):
        make_demo(tmp_path / "letters" / "dear.txt")
    monkeypatch.setenv("SWARDKEY_HOME", str(tmp_path / "own"))
    with pytest.raises(DemoError, match="your own records"):
        make_demo(tmp_path / "own")
    assert not (tmp_path / "own").exists() and [p.name for p in (tmp_path / "letters").iterdir()] == ["dear.txt"]


def test_what_was_interrupted_is_filled_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.demo.season.live_through", _stopped)
    with pytest.raises(KeyboardInterrupt):
        make_demo(tmp_path / "town", TODAY, quiet=True)
    assert not (tmp_path / "town").exists() and (tmp_path / ".town.new" / DEMO_MARK).is_file()
    monkeypatch.setattr("app.demo.season.live_through", lambda town, today, progress: None)
    assert make_demo(tmp_path / "town", TODAY, quiet=True) and not (tmp_path / ".town.new").exists()


def _stopped(*_: object) -> None:
    raise KeyboardInterrupt


@pytest.mark.parametrize("today", [date(2027, month, 1) for month in range(1, 13)] + [date(2028, 2, 29)])
def test_the_season_ends_before_any_day(today: date) -> None:
    season = load_town().season(today)
    days = [day for day, _ in season]
    assert days == sorted(days) and max(days) <= today - timedelta(days=SETTLED)
    assert min(days) > today - timedelta(days=366 + SETTLED)
    assert last_before(today, "03-01") <= today


def test_the_town_is_checked(tmp_path: Path) -> None:
    whole = yaml.safe_load((CONFIGS / "demo.yaml").read_text(encoding="utf-8"))
    assert Town(**whole).standing == "invented"
    for wrong, told in (
        ({"standing": "published"}, "standing"),
        ({"label": {**whole["label"], "rate": "5 mL/L"}}, "rates are never"),
        ({"visits": [{**whole["visits"][0], "site": "nowhere"}]}, "nowhere"),
    ):
        (tmp_path / "demo.yaml").write_text(yaml.safe_dump({**whole, **wrong}), encoding="utf-8")
        with pytest.raises(FloraError, match=told):
            load_town(tmp_path)
