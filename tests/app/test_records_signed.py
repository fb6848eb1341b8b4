"""What is signed stays as it was signed, in code and in the file."""

from __future__ import annotations

import re
import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest

from app.records import (
    KeptFinding,
    KeptPhoto,
    KeptPlan,
    RecordsError,
    Treatment,
    VisitRecord,
    back_up,
    check_records,
    open_records,
)
from app.records.book_mark import against_backup, against_mark, mark_of_book
from app.records.chain import PENDING_LIST, ROWS, SIGNED_LIST, mark_of
from app.records.database import FILE
from tests.app.record_book import keep_some, photo


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book in which a treatment was signed and amended, and its visit, with a photo, signed; made once."""
    folder = tmp_path_factory.mktemp("original")
    with open_records(folder / "records") as records:
        kept = keep_some(records)
        records.add_photo(KeptPhoto(kept.visit, records.store_photo(photo(folder / "a.jpg")), "before"))
        records.sign("treatment", kept.treatment.id, "Kim")
        records.sign("visit", kept.visit, "Kim")
        records.amend("treatment", kept.treatment.id, replace(kept.treatment, area_m2=130.0), "Lee", "measured again")
    return folder / "records"


@pytest.fixture
def folder(original: Path, tmp_path: Path) -> Path:
    """A copy of that book."""
    return Path(shutil.copytree(original, tmp_path / "records"))


def faults(folder: Path) -> str:
    with open_records(folder) as records:
        return "\n".join(check_records(records).faults)


def tamper(folder: Path, *statements: str) -> None:
    """Change the file as somebody with another program would."""
    with closing(sqlite3.connect(folder / FILE)) as book:
        for statement in statements:
            book.execute(statement)
        book.commit()


def test_signing_is_refused_while_the_law_asks_for_more(tmp_path: Path) -> None:
    with open_records(tmp_path) as records:
        kept = keep_some(records)
        records.change_treatment(replace(kept.treatment, products=(), client=""))
        with pytest.raises(
            RecordsError, match=r"still missing for VIC: the client or owner \(client\); the full name of the product"
        ):
            records.sign("treatment", kept.treatment.id, "Kim")
        assert not records.current("treatment", kept.treatment.id).is_signed
        # Western Australia asks for other things, the Northern Territory for more.
        records.change_treatment(replace(kept.treatment, state="NT"))
        with pytest.raises(RecordsError, match=r"for NT: .*approval number"):
            records.sign("treatment", kept.treatment.id, "Kim")
        with pytest.raises(RecordsError, match="who signs"):
            records.change_treatment(kept.treatment)
            records.sign("treatment", kept.treatment.id, " ")
        assert records.database.read("SELECT * FROM signed") == []


def test_an_amendment_is_a_new_row_that_refers_to_the_old(folder: Path) -> None:
    with open_records(folder) as records:
        now = records.current("treatment", 1)
        first, second = records.versions("treatment", 1)
        assert isinstance(now.record, Treatment) and now.record.area_m2 == 130.0
        assert [row.sequence for row in now.chain] == [1, 3]
        assert isinstance(first[1], Treatment) and first[1].area_m2 == 120.0
        assert (second[0].amends, second[0].signed_by, second[0].reason) == (1, "Lee", "measured again")
        assert records.treatments(1)[0] == now
        assert records.treatment_row(1).area_m2 == 120.0
        assert check_records(records).sound


def test_an_amended_finding_shows_everywhere(folder: Path) -> None:
    with open_records(folder) as records:
        record = records.current("visit", 1).record
        assert isinstance(record, VisitRecord)
        named = replace(record.findings[0], species="hypochaeris_radicata", probability=0.9)
        changed = replace(record, visit=replace(record.visit, day=date(2026, 6, 2)), findings=(named,))
        records.amend("visit", 1, changed, "Kim", "it was catsear")
        assert records.visit(1).day == records.visits(1)[0].day == date(2026, 6, 2)
        assert [hit.kind for hit in records.search("hypochaeris")] == ["visit"]
        assert records.search("soliva") == ()
        assert check_records(records).sound


def test_the_code_refuses_to_change_what_is_signed(folder: Path) -> None:
    with open_records(folder) as records:
        treatment = records.treatment_row(1)
        record = records.current("visit", 1).record
        assert isinstance(record, VisitRecord)
        tries = [
            lambda: records.change_treatment(replace(treatment, notes="x")),
            lambda: records.change_visit(replace(record.visit, notes="x")),
            lambda: records.sign("treatment", 1, "Kim"),
            lambda: records.add_finding(KeptFinding(1, {}, "likely")),
            lambda: records.confirm_finding(1, "Kim"),
            lambda: records.add_plan(KeptPlan(1, {})),
            lambda: records.add_photo(KeptPhoto(1, record.photos[0].sha256)),
            lambda: records.amend("treatment", 1, replace(treatment, notes="x"), "Kim", " "),
            lambda: records.amend("treatment", 1, replace(treatment, notes="x"), "", "why"),
            lambda: records.amend("treatment", 1, replace(treatment, area_m2=130.0), "Kim", "is the same as before"),
            lambda: records.amend("treatment", 1, record, "Kim", "why"),
            lambda: records.amend("treatment", 1, replace(treatment, client=""), "Kim", "why"),
        ]
        before = records.database.read("SELECT * FROM signed")
        for change in tries:
            with pytest.raises(RecordsError):
                change()  # type: ignore[no-untyped-call]
        assert [tuple(row) for row in records.database.read("SELECT * FROM signed")] == [tuple(row) for row in before]
        assert check_records(records).sound


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE signed SET reason = 'x'",
        "UPDATE signed SET sequence = 9 WHERE sequence = 3",
        "DELETE FROM signed WHERE sequence = 3",
        "INSERT OR REPLACE INTO signed SELECT * FROM signed WHERE sequence = 2",
        "INSERT INTO signed SELECT 9, kind, 7, content, signed_by, signed_at, note, NULL, '', former, 'x' FROM signed",
        "UPDATE treatments SET content = '{}'",
        "UPDATE OR REPLACE treatments SET id = 2",
        "INSERT OR REPLACE INTO treatments VALUES (1, 1, '{}')",
        "DELETE FROM treatments",
        "UPDATE visits SET who = 'x'",
        "INSERT OR REPLACE INTO visits SELECT * FROM visits",
        "DELETE FROM visits",
        "UPDATE findings SET species = 'x'",
        "DELETE FROM findings",
        "INSERT OR REPLACE INTO findings SELECT * FROM findings",
        "UPDATE photos SET shows = 'x'",
        "DELETE FROM photos",
        "INSERT INTO plans VALUES (NULL, 1, '{}', '')",
    ],
)
def test_the_file_itself_refuses_to_change_what_is_signed(statement: str, folder: Path) -> None:
    with pytest.raises(sqlite3.IntegrityError, match="signed"):
        tamper(folder, statement)
    assert faults(folder) == ""


UNGUARD = "DROP TRIGGER signed_never_changes", "DROP TRIGGER signed_never_goes", "DROP TRIGGER treatments_signed_stays"


@pytest.mark.parametrize(
    ("statements", "told"),
    [
        (
            ("UPDATE signed SET content = replace(content, '120.0', '12.0') WHERE sequence = 1",),
            "row 1 .* not what was signed",
        ),
        (("UPDATE signed SET signed_by = 'Lee' WHERE sequence = 2",), "row 2 .* not what was signed"),
        (("UPDATE signed SET signed_at = '2020' WHERE sequence = 3",), "row 3 .* not what was signed"),
        (("PRAGMA foreign_keys = OFF", "DELETE FROM signed WHERE sequence = 2"), "row 3 .* rows before it are missing"),
        (("DELETE FROM signed WHERE sequence = 3",), "rows 3 to 3 are missing"),
        (("UPDATE treatments SET content = replace(content, '1.50 mL/L', '9 mL/L')",), "changed after it was signed"),
        ((), "signed_never_goes: the definition"),
    ],
)
def test_a_change_behind_our_back_is_found(statements: tuple[str, ...], told: str, folder: Path) -> None:
    tamper(folder, *UNGUARD, *statements)
    assert re.search(told, faults(folder))


def test_a_rehashed_chain_is_found_by_the_file_beside_it(folder: Path) -> None:
    """Somebody who knows how rows are hashed makes the last one anew."""
    from app.records.chain import digest, signed_row

    with open_records(folder) as records:
        row = records.database.read("SELECT * FROM signed WHERE sequence = 3")[0]
    content = row["content"].replace("130.0", "13.0")
    forged = digest(replace(signed_row(row), sha256=""), content)
    tamper(folder, *UNGUARD, f"UPDATE signed SET content = '{content}', sha256 = '{forged}' WHERE sequence = 3")
    assert "row 3: is not the one that was written down" in faults(folder)


def test_a_photo_that_was_changed_or_lost_is_found(folder: Path) -> None:
    file = next((folder / "photos").rglob("*.jpg"))
    data = file.read_bytes()
    file.write_bytes(data[:-3] + b"abc")
    assert "changed after it was kept" in faults(folder)
    file.unlink()
    assert "missing" in faults(folder)


def test_an_older_copy_of_the_book_is_found(folder: Path) -> None:
    older = (folder / FILE).read_bytes()
    with open_records(folder) as records:
        records.amend("treatment", 1, replace(records.treatment_row(1), area_m2=140.0), "Kim", "again")
    (folder / FILE).write_bytes(older)
    assert "older than what was signed last" in faults(folder)


def test_the_file_of_heads_makes_up_for_what_it_missed(folder: Path) -> None:
    lines = (folder / SIGNED_LIST).read_text().splitlines()
    (folder / SIGNED_LIST).write_text("\n".join(lines[:1]) + "\n2 abc")  # a line cut short
    with open_records(folder) as records:
        records.amend("treatment", 1, replace(records.treatment_row(1), area_m2=140.0), "Kim", "again")
        assert check_records(records).sound
    found = [line for line in (folder / SIGNED_LIST).read_text().splitlines() if len(line) > 66]
    assert [line[:66] for line in found[:3]] == [line[:66] for line in lines] and len(found) == 4


def test_a_clock_set_back_is_said_and_the_order_stays(tmp_path: Path) -> None:
    times = iter(
        [datetime(2026, 6, 1, 9, tzinfo=UTC), datetime(2020, 1, 1, tzinfo=UTC), datetime(2026, 6, 2, tzinfo=UTC)]
    )
    with open_records(tmp_path, clock=lambda: next(times)) as records:
        kept = keep_some(records)
        first = records.sign("treatment", kept.treatment.id, "Kim")
        second = records.sign("visit", kept.visit, "Kim")
        third = records.amend("treatment", 1, replace(kept.treatment, area_m2=1.0), "Kim", "why")
        assert check_records(records).sound
    assert [s.sequence for s in (first, second, third)] == [1, 2, 3]
    assert first.note == third.note == ""
    times = [s.signed_at for s in (first, second, third)]
    assert times == ["2026-06-01T09:00:00+00:00", "2020-01-01T00:00:00+00:00", "2026-06-02T00:00:00+00:00"]
    assert "earlier than the signature before this one, at 2026-06-01T09:00:00+00:00" in second.note


def test_a_clock_once_ahead_does_not_stay_in_later_signatures(tmp_path: Path) -> None:
    days = iter([(2031, 1, 1), (2026, 6, 1), (2026, 6, 2)])
    with open_records(tmp_path, clock=lambda: datetime(*next(days), tzinfo=UTC)) as records:
        kept = keep_some(records)
        signed = [records.sign("treatment", kept.treatment.id, "Kim"), records.sign("visit", kept.visit, "Kim")]
        signed.append(records.amend("treatment", 1, replace(kept.treatment, area_m2=1.0), "Kim", "why"))
        assert check_records(records).sound
    assert [s.signed_at[:10] for s in signed] == ["2031-01-01", "2026-06-01", "2026-06-02"]
    assert [bool(s.note) for s in signed] == [False, True, False]


def test_unsigned_treatments_wait_with_their_time(tmp_path: Path) -> None:
    with open_records(tmp_path) as records:
        kept = keep_some(records)
        hand = replace(kept.treatment, chemical=False, products=(), id=0)
        records.add_treatment(hand)
        waiting = records.unsigned(datetime(2026, 6, 3, 8, 40))
        assert [(w.treatment.id, w.late) for w in waiting] == [(kept.treatment.id, False)]
        assert records.unsigned(datetime(2026, 6, 3, 8, 41))[0].late
        records.sign("treatment", kept.treatment.id, "Kim")
        assert records.unsigned() == ()


def test_several_changes_together_are_made_all_or_none(tmp_path: Path) -> None:
    with open_records(tmp_path) as records:
        with pytest.raises(RecordsError, match="no visit 9"), records.together():
            kept = keep_some(records)
            records.sign("treatment", kept.treatment.id, "Kim")
            records.end_draft(records.save_draft({}).id, kept.visit)
            records.add_plan(KeptPlan(9, {}))
        assert records.clients() == () and records.recent_drafts() == () and not (tmp_path / SIGNED_LIST).exists()
        with records.together():
            kept = keep_some(records)
            with pytest.raises(RecordsError, match="no visit 9"), records.together():
                records.add_finding(KeptFinding(kept.visit, {}, "likely"))
                records.add_plan(KeptPlan(9, {}))
            signed = records.sign("treatment", kept.treatment.id, "Kim")
        assert (tmp_path / SIGNED_LIST).read_text() == f"1 {signed.sha256} {mark_of_book(records)}\n"
        assert len(records.current("visit", kept.visit).record.findings) == 1  # type: ignore[union-attr]
        assert check_records(records).sound


def test_what_cannot_be_is_not_signed(tmp_path: Path) -> None:
    with open_records(tmp_path) as records:
        kept = keep_some(records)
        for wrong, told in (
            ({"day": date.today() + timedelta(days=3)}, "still to come; correct it"),
            ({"finished": time(8, 0)}, "finished at 08:00, before it started at 08:10; correct"),
        ):
            records.change_treatment(replace(kept.treatment, **wrong))  # type: ignore[arg-type]
            with pytest.raises(RecordsError, match=told):
                records.sign("treatment", kept.treatment.id, "Kim")
        visit = records.add_visit(replace(records.visit(kept.visit), day=date.today() + timedelta(days=3)))
        with pytest.raises(RecordsError, match="still to come"):
            records.sign("visit", visit.id, "Kim")


@pytest.mark.parametrize(
    ("read", "asked"),
    [(time(8, 10), False), (time(7, 10), False), (time(7, 9), True), (time(8, 40), False), (time(8, 41), True)],
)
def test_a_reading_of_another_time_than_the_work_is_asked_about(read: time, asked: bool, tmp_path: Path) -> None:
    with open_records(tmp_path) as records:
        kept = keep_some(records).treatment  # from 08:10 to 08:40
        records.change_treatment(replace(kept, weather=(replace(kept.weather[0], at=read),)))
        text = f"The weather was read at {read:%H:%M} and the work started at 08:10: why?"
        assert [(one.key, one.text) for one in records.asked(1)] == ([("reading", text)] if asked else [])


def test_a_spray_that_is_kept_as_work_without_a_chemical_is_asked_about(tmp_path: Path) -> None:
    with open_records(tmp_path) as records:
        kept = keep_some(records)
        options = [{"title": "Selective herbicide", "actives": [{"name": "MCPA"}]}, {"title": "Dig out", "actives": []}]
        records.add_plan(KeptPlan(kept.visit, {"options": options}, "Selective herbicide"))
        for method, keys in (("Selective herbicide", ["chemical"]), ("Dig out", [])):
            by_hand = replace(kept.treatment, chemical=False, products=(), weather=(), method=method)
            records.change_treatment(by_hand)
            assert [one.key for one in records.asked(1, "Lee")] == keys


def test_what_says_nothing_is_missing(tmp_path: Path) -> None:
    with open_records(tmp_path) as records:
        kept = keep_some(records)
        for empty in ("\u200b", " - ", ".", "\u2060"):
            with pytest.raises(RecordsError, match="who signs"):
                records.sign("treatment", kept.treatment.id, empty)
            records.change_treatment(replace(kept.treatment, client=empty))
            with pytest.raises(RecordsError, match="still missing for VIC: the client or owner"):
                records.sign("treatment", kept.treatment.id, "Kim")
            records.change_treatment(kept.treatment)
        records.sign("treatment", kept.treatment.id, "Kim")
        with pytest.raises(RecordsError, match="no reason"):
            records.amend("treatment", 1, replace(kept.treatment, area_m2=9.0), "Kim", "-")


def test_nothing_is_signed_before_it_is_done(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.records.doubts.latest_now", lambda: datetime(2026, 6, 1, 8, 30))
    with open_records(tmp_path) as records:
        kept = keep_some(records)  # from 08:10 to 08:40
        with pytest.raises(RecordsError, match="it finishes at 08:40, which is still to come; sign once it is done"):
            records.sign("treatment", kept.treatment.id, "Kim")
        monkeypatch.setattr("app.records.doubts.latest_now", lambda: datetime(2026, 6, 1, 8, 40))
        records.sign("treatment", kept.treatment.id, "Kim")


def test_what_is_odd_is_asked_and_the_answer_is_kept(tmp_path: Path) -> None:
    with open_records(tmp_path) as records:
        kept = keep_some(records)
        windy = replace(kept.treatment.weather[0], wind_speed=45.0)
        records.change_treatment(replace(kept.treatment, weather=(windy,), day=date(2026, 6, 2)))
        with pytest.raises(
            RecordsError, match=r"dated 2 June 2026, .* 45 km/h, over 20.* Kim applied it and Lee signs"
        ):
            records.sign("treatment", kept.treatment.id, "Lee")
        elsewhere = {"state": "NSW", "address": "5 Other Road", "client": "B. Banksia"}
        records.change_treatment(replace(records.treatment_row(1), **elsewhere))  # type: ignore[arg-type]
        asked = {one.key: one.text for one in records.asked(1)}
        assert asked["state"] == "The record is for NSW and the site is in VIC: why?"
        assert asked["address"] == "The record says 5 Other Road and the address of the site is 1 Low Street: why?"
        assert asked["client"] == "The record says B. Banksia and the client of the site is A. Wattle: why?"
        alike = {"state": "VIC", "address": "rear of 1 Low Street, Toorak", "client": "Wattle"}
        records.change_treatment(replace(records.treatment_row(1), **alike))  # type: ignore[arg-type]
        own = {"day": "came back", "wind": "gusts at the end", "signer": "Kim is away"}
        for key in own:  # an answer to the others is none to this one
            with pytest.raises(RecordsError, match=rf"answer the question \(--answer {key}=TEXT\), then sign"):
                records.sign("treatment", 1, "Lee", own | {key: " "})
        with pytest.raises(RecordsError, match="nothing is asked about wind-2"):
            records.sign("treatment", 1, "Lee", own | {"wind-2": "calm"})
        records.sign("treatment", kept.treatment.id, "Lee", own)
        record = records.current("treatment", kept.treatment.id).record
        assert isinstance(record, Treatment)
        assert record.answered == {
            "The treatment is dated 2 June 2026, the visit 1 June 2026: why?": "came back",
            "The wind was 45 km/h, over 20: why was it sprayed?": "gusts at the end",
            "Kim applied it and Lee signs: why?": "Kim is away",
        }
        # Asked once: an amendment of something else asks for nothing more, another wind does.
        records.amend("treatment", 1, replace(record, area_m2=9.0), "Lee", "measured again")
        with pytest.raises(RecordsError, match="50 km/h"):
            windier = (replace(windy, wind_speed=50.0),)
            records.amend("treatment", 1, replace(record, weather=windier), "Lee", "read again")
        assert check_records(records).sound


def test_a_question_that_was_answered_in_its_words_of_before_is_not_asked_again(tmp_path: Path) -> None:
    with open_records(tmp_path) as records:
        kept = keep_some(records)
        later = replace(kept.treatment, day=date(2026, 6, 2))
        records.change_treatment(later)
        assert [one.key for one in records.asked(1)] == ["day"]
        of_before = {"The treatment is dated 2026-06-02, the visit 2026-06-01: why?": "came back"}
        records.change_treatment(replace(later, answered=of_before))
        assert records.asked(1) == ()
        records.change_treatment(replace(later, answered=of_before, day=date(2026, 6, 3)))
        assert [one.text for one in records.asked(1)] == [
            "The treatment is dated 3 June 2026, the visit 1 June 2026: why?"
        ], "another day is another question"


def test_a_file_of_heads_that_was_deleted_or_cut_is_found(folder: Path) -> None:
    lines = (folder / SIGNED_LIST).read_text().splitlines(keepends=True)
    (folder / PENDING_LIST).unlink()
    (folder / SIGNED_LIST).write_text("".join(lines[:2]))
    assert "does not list signed rows 3 to 3" in faults(folder)
    (folder / SIGNED_LIST).unlink()
    assert "does not list signed rows 1 to 3" in faults(folder)


def test_signed_rows_that_go_with_the_files_beside_the_book_leave_a_gap(folder: Path) -> None:
    tamper(folder, *UNGUARD, "PRAGMA foreign_keys = OFF", "DELETE FROM signed")
    (folder / SIGNED_LIST).unlink()
    (folder / PENDING_LIST).unlink()
    found = faults(folder)
    assert "treatment 1: was signed, and its signed row is gone" in found and "visit 1: was signed" in found


def test_a_mark_and_a_backup_prove_what_the_book_still_holds(folder: Path, tmp_path: Path) -> None:
    done = back_up(tmp_path, tmp_path / "b.zip")
    with open_records(folder) as records:
        mark = mark_of_book(records)
        before = mark_of(records.database.read(ROWS))  # the mark of a paper of before the journal
        assert done.mark == mark and before.startswith("3-")
        records.amend("treatment", 1, replace(records.treatment_row(1), area_m2=140.0), "Kim", "again")
        assert against_mark(records, mark) == against_backup(records, tmp_path / "b.zip") == ()
        assert against_mark(records, before) == ()
        assert "entry 3 is not the one" in against_mark(records, "3-" + "0" * 20)[0]
        with pytest.raises(RecordsError, match="is not a mark; copy it"):
            against_mark(records, "3")
    with open_records(tmp_path / "other") as records:  # another book in its place, sound in itself
        kept = keep_some(records)
        # Signed in the same second, the very same treatment would be the very same row.
        records.change_treatment(replace(kept.treatment, area_m2=77.0))
        records.sign("treatment", kept.treatment.id, "Kim")
        assert check_records(records).sound
        assert f"of the mark {mark}" in against_mark(records, mark)[0]
        told = against_backup(records, tmp_path / "b.zip")
        assert "signed row 1 is not the one of b.zip" in told[0] and "journal entry" in told[1]
