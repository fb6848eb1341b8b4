"""Answers keep their order in the records, with what could be seen; books of before stay as they were signed."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.records import (
    KeptFinding,
    Records,
    RecordsError,
    VisitRecord,
    back_up,
    check_records,
    journal,
    open_records,
    schema,
)
from app.records.chain import SIGNED_LIST, digest
from app.records.database import FILE
from app.records.entries import Signed
from app.records.serialization import canonical, checked, insert, plain
from tests.app.record_book import Kept, keep_some

# In no order of the alphabet, of any kind.
GIVEN = {"seed_wings": ["broad"], "leaf_build": ["finely_cut"], "plant_height": 4.0, "milky_sap": []}
SEEN = ("leaves", "seeds")


def add(records: Records, kept: Kept) -> KeptFinding:
    return records.add_finding(KeptFinding(kept.visit, {}, "undecided", answers=dict(GIVEN), visible=SEEN))


def finding_of(records: Records, visit: int) -> KeptFinding:
    found = records.current("visit", visit).record
    assert isinstance(found, VisitRecord)
    return found.findings[-1]


def test_answers_come_back_in_their_order_signed_and_amended_too() -> None:
    with open_records() as records:
        kept = keep_some(records)
        added = add(records, kept)
        assert finding_of(records, kept.visit) == added
        records.sign("visit", kept.visit, "Kim")
        signed = finding_of(records, kept.visit)
        assert list(signed.answers.items()) == list(GIVEN.items()) and signed.visible == SEEN
        record: Any = records.current("visit", kept.visit).record
        turned = dict(reversed(GIVEN.items()))
        changed = replace(record, findings=(*record.findings[:-1], replace(signed, answers=turned)))
        records.amend("visit", kept.visit, changed, "Kim", "told in another order")
        assert list(finding_of(records, kept.visit).answers) == list(turned)
        assert check_records(records).sound
        stored = records.database.read("SELECT answers FROM findings WHERE id = ?", added.id)[0][0]
    assert json.loads(stored) == [["visible", list(SEEN)], *[list(pair) for pair in GIVEN.items()]]


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    answers=st.dictionaries(
        st.text("abcdefg_", min_size=1, max_size=6),
        st.one_of(st.lists(st.text(max_size=5), max_size=3), st.floats(0, 1e6, allow_nan=False)),
        max_size=6,
    ),
    visible=st.one_of(st.none(), st.just(("leaves",)), st.just(("flowers", "roots"))),
)
def test_any_answers_survive_the_book_in_their_order(answers: dict[str, Any], visible: Any) -> None:
    finding = KeptFinding(1, {}, "undecided", answers=answers, visible=visible)
    read = checked(KeptFinding, json.loads(canonical(plain(finding))))
    assert read == finding and list(read.answers) == list(answers)


@pytest.mark.parametrize(
    ("answers", "told"),
    [
        ([["a", 1], ["a", 2]], "a is there twice"),
        ([["a", 1, 2]], "each is a pair"),
        ([[1, "a"]], "each is a pair"),
        ("a: b", "give a list of pairs"),
        ([["visible", ["stems"]]], "visible"),
    ],
)
def test_answers_that_are_no_pairs_are_refused(answers: object, told: str) -> None:
    with pytest.raises(RecordsError, match=told):
        checked(KeptFinding, {"visit": 1, "finding": {}, "status": "undecided", "answers": answers})


def test_answers_put_in_another_order_behind_our_back_are_found_out(tmp_path: Path) -> None:
    with open_records(tmp_path) as records:
        kept = keep_some(records)
        number = add(records, kept).id
        records.sign("visit", kept.visit, "Kim")
        assert check_records(records).sound
    with closing(sqlite3.connect(tmp_path / FILE)) as book:
        trigger = book.execute("SELECT sql FROM sqlite_master WHERE name = 'findings_UPDATE_of_signed'").fetchone()[0]
        book.execute("DROP TRIGGER findings_UPDATE_of_signed")
        turned = json.dumps([[name, answer] for name, answer in reversed(GIVEN.items())])
        book.execute("UPDATE findings SET answers = ? WHERE id = ?", (turned, number))
        book.execute(trigger)
        book.commit()
    with open_records(tmp_path) as records:
        visit, finding = check_records(records).faults
        assert visit == f"visit {kept.visit}: was changed after it was signed"
        assert finding == f"finding {number}: was changed by another program"


@pytest.fixture
def of_before(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A book as the version before wrote it: answers are a mapping in the order of the alphabet; a visit is signed."""
    folder = tmp_path / "before"
    with monkeypatch.context() as then:
        then.setattr(schema, "MIGRATIONS", schema.MIGRATIONS[:2])
        then.setattr(journal, "note", lambda *_: None)  # which no book had then
        with open_records(folder) as records:
            kept = keep_some(records)
            add(records, kept)
            old = {name: GIVEN[name] for name in sorted(GIVEN)}
            with records.database.writing() as connection:
                connection.execute("UPDATE findings SET answers = ?", (canonical(old),))
            told = plain(records.unsigned_record("visit", kept.visit))
            told["findings"] = [{**one, "answers": old} for one in told["findings"]]
            content = canonical(told)
            row = Signed(1, "visit", kept.visit, "Kim", records.database.now(), "", None, "", "", "")
            row = replace(row, sha256=digest(row, content))
            with records.database.writing() as connection:
                insert(connection, row, content=content)
            (folder / SIGNED_LIST).write_text(f"1 {row.sha256}\n")
    return folder


def test_a_book_of_before_still_verifies_is_read_and_goes_on(of_before: Path, tmp_path: Path) -> None:
    with open_records(of_before) as records:
        assert check_records(records).faults == ()
        found = finding_of(records, 1)
        assert found.answers == GIVEN and list(found.answers) == sorted(GIVEN) and found.visible is None
        first: Any = records.current("visit", 1).record
        changed = replace(first, findings=(replace(found, answers=dict(GIVEN), visible=SEEN),))
        records.amend("visit", 1, changed, "Kim", "in the order in which it was asked")
        assert list(finding_of(records, 1).answers) == list(GIVEN)
        assert check_records(records).faults == ()
        assert json.loads(records.database.read("SELECT content FROM signed")[0][0])["findings"][0]["answers"] == GIVEN
    assert len(list(of_before.glob(f"before-version-{len(schema.MIGRATIONS)}-*.sqlite"))) == 1, "a copy was made first"
    home = tmp_path / "home"
    home.mkdir()
    of_before.rename(home / "records")
    assert back_up(home, tmp_path / "backup.zip").notes == ()


def test_a_full_disk_after_a_migration_leaves_the_book_readable_and_a_search_says_so(
    of_before: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise RecordsError("the disk is full")

    with monkeypatch.context() as then:
        then.setattr("app.records.latest.rebuild_words", full)
        with open_records(of_before) as records:
            assert records.clients() and check_records(records).faults == ()
            with pytest.raises(RecordsError, match="the words to search could not be made, as on a full disk"):
                records.search("wattle")
    with open_records(of_before) as records:
        assert records.search("wattle") and check_records(records).faults == ()


def test_a_draft_keeps_its_order() -> None:
    with open_records() as records:
        draft = records.save_draft({"step": "questions", "answers": GIVEN})
        kept = records.draft(draft.id).state
    assert list(kept) == ["step", "answers"] and list(kept["answers"]) == list(GIVEN)
