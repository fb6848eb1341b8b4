"""Killed, out of space, locked, without rights: nothing half done, nothing signed lost, and it is one sentence."""

from __future__ import annotations

import os
import resource
import signal
import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest

from app.records import (
    Client,
    Records,
    RecordsError,
    back_up,
    check_records,
    finish_restore,
    migrate,
    open_records,
    plan_restore,
    restore,
    schema,
)
from app.records.database import FILE
from model.spray.delta_t import delta_t
from tests.app.record_book import KILLED, all_of_it, book, in_a_fork, keep_some, killed_at, killer, nothing_lost, photo

pytestmark = pytest.mark.skipif(
    os.name == "nt", reason="without fork nothing is killed half-way, so a record lost in a crash goes unseen"
)


@pytest.fixture(autouse=True, scope="module")
def _loaded() -> None:
    """What takes long to import is imported before anything is forked."""
    delta_t(20, 60)


def test_killed_between_any_two_steps(tmp_path: Path) -> None:
    original = photo(tmp_path / "a.jpg")
    point, status = 0, KILLED
    while status == KILLED:  # every third step; tests/security/records_killed.py takes them all
        folder, told = tmp_path / f"{point}", tmp_path / f"{point}.txt"
        status = killed_at(folder, original, told, lambda records: None, killer(point))
        nothing_lost(folder, told)
        point += 3
    assert status == 0 and point > 50, point


@pytest.mark.parametrize("point", range(1, 150, 7))
def test_killed_before_any_statement(point: int, tmp_path: Path) -> None:
    """SQLite tells of each statement before it runs it."""

    def arm(records: Records) -> None:
        step = killer(point)
        records._connection.set_trace_callback(step)

    folder, told = tmp_path / "records", tmp_path / "told.txt"
    assert killed_at(folder, photo(tmp_path / "a.jpg"), told, arm, lambda name: None) in (KILLED, 0)
    nothing_lost(folder, told)


@pytest.mark.parametrize("point", range(1, 12, 2))
def test_killed_in_the_midst_of_a_statement(point: int, tmp_path: Path) -> None:
    def arm(records: Records) -> None:
        step = killer(point * 60)
        records._connection.set_progress_handler(lambda: step("") or 0, 20)  # type: ignore[func-returns-value]

    folder, told = tmp_path / "records", tmp_path / "told.txt"
    assert killed_at(folder, photo(tmp_path / "a.jpg"), told, arm, lambda name: None) in (KILLED, 0)
    nothing_lost(folder, told)


@pytest.mark.parametrize("point", range(0, 40, 6))
def test_killed_within_several_changes_together(point: int, tmp_path: Path) -> None:
    def work() -> None:
        with open_records(tmp_path / "records", step=killer(point)) as records, records.together():
            keep_some(records)

    status = in_a_fork(work)
    with open_records(tmp_path / "records") as records:
        counts = {len(found) for found in (records.clients(), records.sites(), records.visits(), records.treatments())}
        assert counts == ({1} if status == 0 else counts & {0, 1}) and len(counts) == 1
        assert check_records(records).sound


NEWEST = len(schema.MIGRATIONS)


@pytest.fixture
def next_version(monkeypatch: pytest.MonkeyPatch) -> str:
    """A migration that is yet to come."""
    script = "ALTER TABLE notes ADD COLUMN more TEXT NOT NULL DEFAULT '';\nCREATE TABLE machines (id INTEGER) STRICT;\n"
    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, script))
    return script


def test_a_migration_is_made_after_a_verified_copy(tmp_path: Path, request: pytest.FixtureRequest) -> None:
    folder = tmp_path / "records"
    book(folder)
    request.getfixturevalue("next_version")
    with closing(open_records(folder)) as records:
        assert records.read("PRAGMA user_version")[0][0] == NEWEST + 1
        assert records.read("SELECT more FROM notes")[0][0] == ""
    copies = list(folder.glob(f"before-version-{NEWEST + 1}-*.sqlite"))
    assert len(copies) == 1
    with closing(sqlite3.connect(copies[0])) as copy:
        assert copy.execute("PRAGMA user_version").fetchone()[0] == NEWEST
        assert copy.execute("SELECT name FROM clients").fetchall() == [("A. Wattle",)]


def test_a_copy_is_of_one_moment_whatever_others_write_meanwhile(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book(tmp_path / "records")
    counts = migrate._counts

    def counted(connection: sqlite3.Connection) -> dict[str, int]:
        with open_records(tmp_path / "records") as other:
            other.add_client(Client(name="meanwhile"))
        return counts(connection)

    with open_records(tmp_path / "records") as records:
        monkeypatch.setattr(migrate, "_counts", counted)
        records.copy_to(tmp_path / "copy.sqlite")
        records.add_client(Client(name="afterwards"))
    with closing(sqlite3.connect(tmp_path / "copy.sqlite")) as copy:
        assert counts(copy)["clients"] == 1


def test_a_migration_that_fails_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "records"
    book(folder)
    with monkeypatch.context() as broken:
        script = "CREATE TABLE machines (id INTEGER) STRICT;\nINSERT INTO nowhere VALUES (1);\n"
        broken.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, script))
        with pytest.raises(RecordsError, match="nowhere"):
            open_records(folder)
    with open_records(folder) as records:
        assert check_records(records).sound and records.clients()


def test_a_migration_killed_at_any_step_is_all_or_nothing(tmp_path: Path, request: pytest.FixtureRequest) -> None:
    original = tmp_path / "original"
    book(original)
    request.getfixturevalue("next_version")
    point, status = 0, KILLED
    while status == KILLED:
        folder = tmp_path / f"{point}"
        folder.mkdir()
        (folder / FILE).write_bytes((original / FILE).read_bytes())
        step = killer(point)
        status = in_a_fork(lambda folder=folder, step=step: open_records(folder, step=step).close())  # type: ignore[misc]
        with closing(sqlite3.connect(folder / FILE)) as after:
            version = after.execute("PRAGMA user_version").fetchone()[0]
            has_machines = after.execute("SELECT count(*) FROM sqlite_master WHERE name = 'machines'").fetchone()[0]
            assert (version, has_machines) in ((NEWEST, 0), (NEWEST + 1, 1))
        with open_records(folder) as records:
            assert records.clients()[0].name == "A. Wattle"
        for copy in folder.glob("before-version-*.sqlite"):
            with closing(sqlite3.connect(copy)) as kept:
                assert kept.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        point += 1
    assert status == 0 and point >= 5


def test_a_book_of_the_first_version_gets_an_id_that_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as then:
        then.setattr(schema, "MIGRATIONS", schema.MIGRATIONS[:1])
        for name in ("one", "other"):
            book(tmp_path / name)
    ids = []
    for name in ("one", "one", "other"):
        with open_records(tmp_path / name) as records:
            assert check_records(records).sound and records.clients()[0].name == "A. Wattle"
            ids.append(records.dataset())
    assert ids[0] == ids[1] != ids[2] and all(len(bytes.fromhex(one)) == 16 for one in ids)
    assert len(list((tmp_path / "one").glob("before-version-*.sqlite"))) == 1


def test_a_book_of_a_later_version_is_left_alone(tmp_path: Path) -> None:
    book(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE)) as later:
        later.execute("PRAGMA user_version = 9")
    with pytest.raises(RecordsError, match="later swardkey"):
        open_records(tmp_path)


def test_of_many_that_make_a_book_at_once_none_is_refused(tmp_path: Path) -> None:
    """Of 300 such starts by six, five were refused before turning to write-ahead logging was tried again."""
    troubles: list[BaseException] = []

    def make(folder: Path) -> None:
        try:
            open_records(folder).close()
        except RecordsError as error:
            troubles.append(error)

    for number in range(200):
        threads = [threading.Thread(target=make, args=(tmp_path / f"{number}",)) for _ in range(6)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert troubles == []


def test_two_programs_make_the_book_at_once(tmp_path: Path) -> None:
    troubles: list[BaseException] = []

    def work() -> None:
        try:
            with open_records(tmp_path / "records") as records:
                for _ in range(5):
                    records.add_client(Client(name="x"))
        except BaseException as error:
            troubles.append(error)

    threads = [threading.Thread(target=work) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with open_records(tmp_path / "records") as records:
        assert (troubles, len(records.clients())) == ([], 30)
        assert check_records(records).sound


def test_locked_by_another_program_is_one_sentence_and_reading_goes_on(tmp_path: Path) -> None:
    book(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with open_records(tmp_path, patience=0.05) as records:
            assert len(records.clients()) == 1
            with pytest.raises(RecordsError, match="another program is writing to it; try again"):
                records.add_client(Client(name="B"))
            other.execute("ROLLBACK")
            records.add_client(Client(name="B"))
            assert len(records.clients()) == 2


def test_a_full_disk_is_one_sentence_and_nothing_changes(tmp_path: Path) -> None:
    with open_records(tmp_path) as records:
        kept = keep_some(records)
        records.sign("treatment", kept.treatment.id, "Kim")
        pages = records.read("PRAGMA page_count")[0][0]
        records.read(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(RecordsError, match=r"disk is full; make room .* nothing was changed"):
            records.save_draft({"text": "x" * 500_000})
        records.read("PRAGMA max_page_count = 1000000")
        assert records.recent_drafts() == () and check_records(records).sound
        records.save_draft({"text": "x" * 500_000})


@pytest.mark.parametrize("room", [0, 20_000, 60_000, 140_000])
def test_a_disk_that_takes_no_more_bytes_loses_nothing(room: int, tmp_path: Path) -> None:
    """The system itself refuses to write beyond a size."""
    folder, told = tmp_path / "records", tmp_path / "told.txt"
    original = photo(tmp_path / "a.jpg")

    def work() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))
        try:
            with open_records(folder) as records:
                all_of_it(records, original, lambda what: None)
        except RecordsError as error:
            os._exit(7 if "make room" in str(error) else 8)

    assert in_a_fork(work) == 7
    nothing_lost(folder, told)


def test_a_folder_without_rights_is_one_sentence(tmp_path: Path) -> None:
    folder = tmp_path / "home" / "records"
    book(folder)
    for path in (tmp_path, folder.parent, folder, *folder.rglob("*")):
        path.chmod(0o555 if path.is_dir() else 0o444)
    said = tmp_path / "said.txt"
    said.touch()
    said.chmod(0o666)

    def work() -> None:
        if os.geteuid() == 0:
            os.setuid(65534)
        os.chdir(tmp_path)
        tries = (lambda r: r.add_client(Client(name="B")), lambda r: r.clients())
        for attempt, where in ((tries[0], folder), (tries[1], folder), (tries[1], folder / "new")):
            try:
                with open_records(where) as records:
                    attempt(records)
            except RecordsError as error:
                with said.open("a") as out:
                    out.write(f"{error}\n")

    # The folders above belong to root alone: another user comes in by them for this test only.
    parents = [p for p in tmp_path.parents if p.stat().st_uid == os.geteuid() and not p.stat().st_mode & 0o001]
    modes = [p.stat().st_mode for p in parents]
    try:
        for parent in parents:
            parent.chmod(0o755)
        assert in_a_fork(work) == 0
    finally:
        for parent, mode in zip(parents, modes, strict=True):
            parent.chmod(mode)
        for path in (tmp_path, folder.parent, folder):
            path.chmod(0o755)
    told = said.read_text().splitlines()
    assert len(told) >= 2 and all("permissions of the folder" in line for line in told), told


def test_writing_to_a_book_that_was_replaced_is_refused(tmp_path: Path) -> None:
    book(tmp_path / "records")
    with open_records(tmp_path / "records") as records:
        (tmp_path / "records").rename(tmp_path / "aside")
        book(tmp_path / "records")
        with pytest.raises(RecordsError, match="replaced by another"):
            records.add_client(Client(name="B"))


def in_two_states(home: Path) -> Path:
    """A home with a signed treatment, and a backup of the time before it was signed."""
    kept = book(home / "records")
    back_up(home, home / "b.zip")
    with open_records(home / "records") as records:
        records.sign("treatment", kept.treatment.id, "Kim")
    return home / "b.zip"


def signed_in(folder: Path) -> int:
    with closing(sqlite3.connect(folder / FILE)) as kept:
        return int(kept.execute("SELECT count(*) FROM signed").fetchone()[0])


def test_what_was_signed_since_the_backup_outlives_several_restores(tmp_path: Path) -> None:
    file = in_two_states(tmp_path)
    for _ in range(3):
        restore(plan_restore(file, tmp_path))
    aside = sorted(path.name for path in tmp_path.glob("before-restore*"))
    assert aside == ["before-restore", "before-restore-2"], "only what has something signed is kept beyond"
    assert [signed_in(tmp_path / name / "records") for name in ("before-restore-2", "before-restore")] == [1, 0]
    (tmp_path / "before-restore" / "records" / FILE).write_bytes(b"damaged")
    restore(plan_restore(file, tmp_path))
    assert (tmp_path / "before-restore-3").is_dir(), "what cannot be read may hold something signed"


def test_a_restore_that_another_program_holds_up_is_not_done_later_behind_our_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = in_two_states(tmp_path)
    monkeypatch.setattr("app.records.swap.PATIENCE", 0.1)
    with closing(sqlite3.connect(tmp_path / "records" / FILE, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(RecordsError, match="another program is writing to it"):
            restore(plan_restore(file, tmp_path))
    assert not finish_restore(tmp_path) and not (tmp_path / ".restored").exists()
    assert signed_in(tmp_path / "records") == 1 and not (tmp_path / ".restoring").exists()
    restore(plan_restore(file, tmp_path))
    assert signed_in(tmp_path / "records") == 0


def test_a_restore_that_fails_when_it_is_half_in_place_says_that_it_goes_on(tmp_path: Path) -> None:
    file = in_two_states(tmp_path)

    def refuse(point: str) -> None:
        if point == "records aside":
            raise OSError(28, "No space left on device")

    with pytest.raises(RecordsError, match="the next start of swardkey goes on with it"):
        restore(plan_restore(file, tmp_path), refuse)
    assert finish_restore(tmp_path) and signed_in(tmp_path / "records") == 0
    assert signed_in(tmp_path / "before-restore" / "records") == 1
