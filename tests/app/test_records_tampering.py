"""What another program changes in the book beside the signed rows is found out, or cannot be false."""

from __future__ import annotations

import re
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from app.records import (
    Client,
    FollowUp,
    GroupUse,
    OwnProduct,
    Profile,
    Reading,
    RecordsError,
    Site,
    Visit,
    back_up,
    check_records,
    journal,
    open_records,
    plan_restore,
    restore,
    schema,
)
from app.records.book_mark import against_mark, mark_of_book
from app.records.chain import PENDING_LIST, SIGNED_LIST
from app.records.database import FILE
from tests.app.record_book import keep_some

ANEW = "it was cut back or begun anew"
DUE = date(2026, 7, 1)


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with a signed treatment at an unsigned visit, follow-ups, a group that was reported, and own details."""
    folder = tmp_path_factory.mktemp("original") / "records"
    with open_records(folder) as records:
        kept = keep_some(records)
        records.sign("treatment", kept.treatment.id, "Kim")
        records.add_follow_up(FollowUp(kept.site, DUE, "survivors", kept.visit))
        records.add_group_use(GroupUse(kept.site, date(2025, 9, 1), 2))
        records.add_site(Site(kept.client, "2 High Street", "NSW"))
        records.keep_profile(Profile(applicator="Kim"))
        records.keep_product(OwnProduct(name="as on the label", actives="MCPA 340 g/L", groups=(4,)))
    return folder


@pytest.fixture
def folder(original: Path, tmp_path: Path) -> Path:
    """A copy of that book."""
    return Path(shutil.copytree(original, tmp_path / "records"))


def edit(folder: Path, *statements: str) -> None:
    """Change the file as somebody with another program would."""
    with closing(sqlite3.connect(folder / FILE)) as book:
        for statement in statements:
            book.execute(statement)
        book.commit()


def faults(folder: Path) -> tuple[str, ...]:
    with open_records(folder) as records:
        return check_records(records).faults


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("UPDATE clients SET name = 'B. Wattle'", "client 1: was changed"),
        ("UPDATE sites SET address = '9 Low Street' WHERE id = 1", "site 1: was changed"),
        ("UPDATE sites SET near = '[]' WHERE id = 1", "site 1: was changed"),
        ("UPDATE visits SET site = 2", "visit 1: was changed"),
        ("UPDATE findings SET species = 'stellaria_media'", "finding 1: was changed"),
        ("UPDATE follow_ups SET due = '2027-07-01'", "follow-up 1: was changed"),
        ("UPDATE follow_ups SET done = '2026-07-01', outcome = 'all dead'", "follow-up 1: was changed"),
        ("DELETE FROM follow_ups", "follow-up 1: was removed"),
        ("INSERT INTO follow_ups VALUES (2, 1, 1, '2026-07-01', 'x', NULL, 'x', '')", "follow-up 2: was added"),
        ("UPDATE groups_used SET \"group\" = 9", "note of a group used 1: was changed"),
        ("DELETE FROM groups_used", "note of a group used 1: was removed"),
        ("INSERT INTO groups_used VALUES (9, 1, '2026-01-01', 9, NULL, '')", "note of a group used 9: was added"),
        ("UPDATE notes SET value = replace(value, 'Kim', 'Lee') WHERE name = 'profile'", "your details: was changed"),
        ("UPDATE notes SET value = replace(value, '340', '34') WHERE name = 'products'", "your list of products: was"),
        ("DELETE FROM notes WHERE name = 'products'", "your list of products: was removed"),
    ],
)  # fmt: skip
def test_a_row_that_another_program_touched_is_named(statement: str, told: str, folder: Path) -> None:
    assert faults(folder) == ()
    edit(folder, statement)
    found = [fault for fault in faults(folder) if "search words" not in fault]
    assert len(found) == 1 and found[0].startswith(told) and "by another program" in found[0]


def test_groups_of_treatments_are_those_that_were_signed_whatever_the_table_says(folder: Path) -> None:
    edit(folder, "INSERT INTO groups_used VALUES (7, 1, '2026-06-01', 9, 1, '')")
    with open_records(folder) as records:
        assert records.groups_used(1) == (2, 4)
        assert check_records(records).faults == ("note of a group used 7: was added by another program",)


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("UPDATE words SET text = 'nothing' WHERE kind = 'client'", "the search words of client 1"),
        ("UPDATE words SET site = 2 WHERE kind = 'treatment'", "the search words of treatment 1"),
        ("DELETE FROM words WHERE kind = 'visit'", "the search words of visit 1"),
        ("INSERT INTO words VALUES (99, 'client', 7, NULL, 'Wattle')", "the search words of client 7"),
        ("INSERT INTO words_index (words_index, rowid, text) SELECT 'delete', id, text FROM words", "the search index"),
    ],
)  # fmt: skip
def test_search_words_that_another_program_touched_are_named_and_made_again(
    statement: str, told: str, folder: Path
) -> None:
    edit(folder, statement)
    found = [fault for fault in faults(folder) if told in fault]
    assert len(found) == 1 and found[0].endswith("changed by another program and are made again now")
    assert faults(folder) == ()
    with open_records(folder) as records:
        assert [hit.kind for hit in records.search("wattle")] == ["client", "treatment"]


UNGUARDED = "DROP TRIGGER journal_never_changes", "DROP TRIGGER journal_never_goes"


def guarded_again() -> list[str]:
    """The guards as they were, so that the shape of the book says nothing."""
    script = schema.MIGRATIONS[schema.JOURNAL - 1]
    return [one for one in schema.statements(script) if one.startswith(("CREATE TRIGGER journal_never",))]


@pytest.mark.parametrize(
    ("statements", "told"),
    [
        (("DELETE FROM journal WHERE sequence = (SELECT max(sequence) FROM journal)",), "last entries of the journal"),
        (("DELETE FROM journal WHERE sequence = 3",), "entries before it are missing"),
        (("UPDATE journal SET content = '0' WHERE sequence = 3",), "journal entry 3: is not what was written"),
        (("DELETE FROM journal", "DELETE FROM notes WHERE name = 'journal'"), "client 1: was added by another"),
    ],
)
def test_the_journal_itself_is_a_chain(statements: tuple[str, ...], told: str, folder: Path) -> None:
    edit(folder, *UNGUARDED, *statements, *guarded_again())
    found = " ".join(faults(folder))
    assert told in found and "the definition of this table" not in found


def test_the_file_refuses_to_change_the_journal(folder: Path) -> None:
    added = "INSERT INTO journal VALUES (3, 'clients', '1', 1, '', '', '')"
    for statement in ("UPDATE journal SET content = ''", "DELETE FROM journal", added):
        with pytest.raises(sqlite3.IntegrityError, match="journal"):
            edit(folder, statement)


def test_a_journal_that_was_made_anew_is_not_the_one_of_a_mark(folder: Path) -> None:
    """Somebody who knows how rows are hashed: only what lies elsewhere shows it."""
    with open_records(folder) as records:
        mark = mark_of_book(records)
    edit(folder, *UNGUARDED, "UPDATE follow_ups SET due = '2027-07-01'", "DELETE FROM journal", *guarded_again())
    with open_records(folder) as records:
        with records.database.writing() as connection:
            journal.begin(connection)
        assert check_records(records).faults == (
            f"the journal is not the one of signed row 1 in {SIGNED_LIST}: {ANEW}",
        )
        (folder / SIGNED_LIST).write_text((folder / SIGNED_LIST).read_text()[:67] + "\n")
        assert check_records(records).sound
        assert f"of the mark {mark}" in against_mark(records, mark)[0]


def test_an_older_book_with_its_own_list_of_signatures_is_shown_by_the_latest_mark_alone(
    folder: Path, tmp_path: Path
) -> None:
    """The whole folder as it was earlier, so that nothing in it contradicts anything else."""
    older = shutil.copytree(folder, tmp_path / "older")
    with open_records(folder) as records:
        early = mark_of_book(records)
        records.sign("visit", 1, "Kim")
        latest = mark_of_book(records)
    shutil.rmtree(folder)
    shutil.move(older, folder)
    with open_records(folder) as records:
        assert check_records(records).sound and against_mark(records, early) == ()
        assert f"of the mark {latest} is no longer" in against_mark(records, latest)[0]
    with open_records(folder) as records:  # and it stays so, whatever is signed in the older book
        records.sign("visit", 1, "Lee")
        assert f"is not the one of the mark {latest}: the book was replaced" in against_mark(records, latest)[0]


def test_a_book_set_back_to_a_version_before_the_journal_is_found_out(folder: Path) -> None:
    edit(folder, "UPDATE follow_ups SET due = '2027-07-01'", "DROP TABLE journal", "PRAGMA user_version = 6")
    edit(folder, "DELETE FROM notes WHERE name = 'journal'")
    assert faults(folder) == (f"the journal is not the one of signed row 1 in {SIGNED_LIST}: {ANEW}",)


def test_all_that_the_program_itself_does_leaves_the_book_sound(folder: Path) -> None:
    with open_records(folder) as records:
        client = records.add_client(Client(name="C. Wattle"))
        site = records.add_site(Site(client.id, "3 Low Street"))
        visit = records.add_visit(Visit(site.id, date(2026, 6, 2), "Kim"))
        records.add_group_use(GroupUse(site.id, date(2025, 9, 1), 9))
        records.change_site(replace(site, lawn="couch"))
        records.confirm_finding(1, "Kim")
        records.finish_follow_up(1, DUE, "gone")
        records.reopen_follow_up(1)
        records.merging.merge("site", site.id, 2)
        records.merging.merge("client", client.id, 1)
        records.merging.remove("site", records.add_site(Site(1, "nowhere")).id)
        records.sign("visit", visit.id, "Kim")
        records.amend("treatment", 1, replace(records.treatment_row(1), area_m2=9.0), "Kim", "less")
        records.remove_product("as on the label")
        windy = replace(records.treatment_row(1), weather=(Reading(wind_speed=45.0),), day=date(2026, 6, 2))
        more = records.add_treatment(replace(windy, left_out={"z": "none", "a": "none"}, answered={"wind": "gusts"}))
        records.change_treatment(replace(more, answered={"wind": "gusts", "day": "came back"}))
        assert check_records(records).faults == ()
        assert records.groups_used(2) == (9,)


def test_a_book_of_before_the_journal_verifies_and_is_searched(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as then:
        then.setattr(schema, "MIGRATIONS", schema.MIGRATIONS[: schema.JOURNAL - 1])
        for name in ("note", "note_outside_change", "mark"):
            then.setattr(journal, name, lambda *_: "")
        with open_records(tmp_path) as records:
            kept = keep_some(records)
            records.add_follow_up(FollowUp(kept.site, DUE, "survivors", kept.visit))
            records.add_group_use(GroupUse(kept.site, date(2025, 9, 1), 2))
            records.sign("treatment", kept.treatment.id, "Kim")
    # As versions before wrote them, beside the treatments.
    edit(tmp_path, "INSERT INTO groups_used VALUES (9, 1, '2026-06-01', 4, 1, '')", "UPDATE words SET text = 'old'")
    with open_records(tmp_path) as records:
        assert check_records(records).faults == ()
        assert records.groups_used(1) == (2, 4) and len(records.search("wattle")) == 2


def test_a_list_of_signatures_that_was_cut_stays_in_the_next_signature(folder: Path) -> None:
    with open_records(folder) as records:
        assert records.sign("visit", 1, "Kim").note == ""
    (folder / SIGNED_LIST).unlink()
    (folder / PENDING_LIST).unlink()
    with open_records(folder) as records:
        changed = replace(records.treatment_row(1), area_m2=9.0)
        first, then = (
            records.amend("treatment", 1, replace(changed, area_m2=area), "Kim", "less") for area in (9.0, 8.0)
        )
        assert first.note == f"before this, {SIGNED_LIST} did not list signed rows 1 to 2" and then.note == ""


def test_what_another_program_changed_is_not_hidden_by_writing_it_again(folder: Path) -> None:
    edit(
        folder,
        "UPDATE clients SET name = 'B. Wattle'",
        "UPDATE notes SET value = replace(value, 'Kim', 'Lee') WHERE name = 'profile'",
        "UPDATE follow_ups SET due = '2027-07-01'",
    )
    with open_records(folder) as records:
        records.change_client(replace(records.client(1), phone="0001"))
        records.change_client(replace(records.client(1), phone="0002"))
        records.keep_profile(replace(records.profile(), business="Own Lawns"))
        records.merging.merge("site", 2, 1)
        records.finish_follow_up(1, DUE)
        found = [one for one in check_records(records).faults if "search words" not in one]
    names = ("client 1", "your details", "follow-up 1")
    assert found == [f"{name}: was changed by another program before swardkey wrote it again" for name in names]


def test_a_site_with_a_signed_treatment_never_moves(folder: Path) -> None:
    with open_records(folder) as records:
        with pytest.raises(RecordsError, match="site 1 has signed visits or treatments, which never move"):
            records.merging.merge("site", 1, 2)
        assert records.groups_used(1) == (2, 4)


def test_the_day_of_a_visit_stays_once_a_treatment_was_signed_for_it(folder: Path) -> None:
    with open_records(folder) as records:
        visit = records.visit(1)
        with pytest.raises(RecordsError, match="signed for its day; sign the visit, then amend it"):
            records.change_visit(replace(visit, day=date(2026, 6, 2)))
        records.change_visit(replace(visit, notes="gate locked"))


@pytest.fixture
def zipped(folder: Path, tmp_path: Path) -> Callable[[], Path]:
    """Makes a backup of the book."""

    def zipped() -> Path:
        file = tmp_path / "b.zip"
        back_up(tmp_path, file)
        return file

    return zipped


@pytest.mark.parametrize("cut", ["", "1 abc\n"])
def test_a_backup_whose_list_of_signatures_is_short_is_refused(
    cut: str, folder: Path, zipped: Callable[[], Path]
) -> None:
    (folder / PENDING_LIST).unlink()
    (folder / SIGNED_LIST).write_text(cut)
    file, home = zipped(), folder.parent / "home"
    told = r"its signed.txt lists 0 of 1 signed row, so .*; use another backup, or compare .* \(--unlisted\)"
    with pytest.raises(RecordsError, match=told):
        restore(plan_restore(file, home))
    assert not (home / "records").exists()
    restore(plan_restore(file, home, unlisted=True))
    assert "does not list signed rows 1 to 1" in faults(home / "records")[0]


def test_a_backup_of_a_sound_book_is_restored_and_sound(zipped: Callable[[], Path], folder: Path) -> None:
    home = folder.parent / "home"
    restore(plan_restore(zipped(), home))
    assert faults(home / "records") == ()
    with open_records(home / "records") as records:
        assert re.fullmatch(r"\d+-[0-9a-f]{20}", mark_of_book(records))


def test_a_restored_book_still_says_what_another_program_changed_and_what_it_lacks(
    zipped: Callable[[], Path], folder: Path
) -> None:
    edit(folder, "UPDATE follow_ups SET due = '2027-07-01'")
    file = zipped()
    with open_records(folder) as records:
        records.sign("visit", 1, "Kim")
    notes = restore(plan_restore(file, folder.parent))
    told = "follow-up 1: was changed by another program"
    assert notes == (told, "1 signed row of the records until now is not in the backup: see before-restore")
    assert faults(folder) == (told,)
