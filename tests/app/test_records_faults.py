"""Killed, out of space, locked, without rights: nothing half done, nothing signed lost, and it is one sentence."""

from __future__ import annotations

import os
import resource
import shutil
import signal
import sqlite3
import sys
import tempfile
import threading
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from app.papers.record_sheet import paper_of_treatment
from app.records import (
    Client,
    RecordsError,
    back_up,
    check_records,
    finish_restore,
    journal,
    open_records,
    plan_restore,
    restore,
    schema,
)
from app.records.chain import SIGNED_LIST
from app.records.database import FILE
from model.spray.delta_t import delta_t
from tests.app.record_book import all_of_it, book, keep_some, nothing_lost, photo
from tests.security.forked import as_a_stranger, killed_over, run
from tests.security.kill_points import kill_points, refuse

pytestmark = pytest.mark.skipif(
    os.name == "nt", reason="without fork nothing is killed half-way, so a record lost in a crash goes unseen"
)
NEWEST = len(schema.MIGRATIONS)
LONG = 120.0  # seconds of patience, where the disk may be slow and nobody is to be refused


@pytest.fixture(autouse=True, scope="module")
def _loaded() -> None:
    """What takes long to import is imported before anything is forked."""
    delta_t(20, 60)


def write_all() -> None:
    with open_records() as records:
        all_of_it(records, Path("a.jpg").absolute())


def write_together() -> None:
    with open_records() as records, records.together():
        keep_some(records)


@pytest.fixture
def fresh(tmp_path: Path) -> Callable[[], Path]:
    """A function that makes an empty home with a photo."""

    def fresh() -> Path:
        home = Path(tempfile.mkdtemp(dir=tmp_path))
        photo(home / "a.jpg")
        return home

    return fresh


def test_killed_at_any_point_nothing_is_lost(fresh: Callable[[], Path]) -> None:
    points = set()
    for home, ended in killed_over(fresh, write_all, 16):
        points.add(ended.points)
        nothing_lost(home / "records", ended.out)
    assert max(points) > 200, points  # statements, places within them, and what Python does to files


def test_killed_within_several_changes_together_all_or_none_are_made(fresh: Callable[[], Path]) -> None:
    for home, _ in killed_over(fresh, write_together, 5):
        with open_records(home / "records") as records:
            found = (records.clients(), records.sites(), records.visits(), records.treatments())
            assert {len(entries) for entries in found} in ({0}, {1}) and check_records(records).sound


@pytest.fixture
def next_version(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A book of this version, and from now on a migration that is yet to come."""
    book(tmp_path / "records")
    script = "ALTER TABLE notes ADD COLUMN more TEXT NOT NULL DEFAULT '';\nCREATE TABLE machines (id INTEGER) STRICT;\n"
    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, script))
    return tmp_path / "records"


def test_a_migration_is_made_after_a_verified_copy(next_version: Path) -> None:
    with open_records(next_version) as records:
        assert records.database.read("PRAGMA user_version")[0][0] == NEWEST + 1
        assert records.database.read("SELECT more FROM notes")[0][0] == ""
    (copied,) = next_version.glob(f"before-version-{NEWEST + 1}-*.sqlite*")
    with closing(sqlite3.connect(copied)) as copy:
        assert copy.execute("PRAGMA user_version").fetchone()[0] == NEWEST
        assert copy.execute("PRAGMA journal_mode").fetchone()[0] == "delete", "a copy is one file"
        assert copy.execute("SELECT name FROM clients").fetchall() == [("A. Wattle",)]


def test_a_copy_is_of_one_moment_whatever_others_write_meanwhile(tmp_path: Path) -> None:
    """Each client comes with a site in one transaction: a copy never has one without the other."""
    book(tmp_path / "records")
    stop = threading.Event()

    def write() -> None:
        with open_records(tmp_path / "records") as other:
            while not stop.is_set():
                with other.together():
                    keep_some(other)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        with open_records(tmp_path / "records") as records:
            for number in range(5):
                records.database.copy_to(tmp_path / f"{number}.sqlite")
                with closing(sqlite3.connect(tmp_path / f"{number}.sqlite")) as copy:
                    counts = {copy.execute(f"SELECT count(*) FROM {t}").fetchone() for t in ("clients", "treatments")}
                    assert len(counts) == 1
    finally:
        stop.set()
        writer.join()


def test_a_migration_that_fails_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    book(tmp_path)
    with monkeypatch.context() as broken:
        script = "CREATE TABLE machines (id INTEGER) STRICT;\nINSERT INTO nowhere VALUES (1);\n"
        broken.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, script))
        with pytest.raises(RecordsError, match="nowhere"):
            open_records(tmp_path)
    with open_records(tmp_path) as records:
        assert check_records(records).sound and records.clients()


def test_a_book_of_the_first_version_gets_an_id_that_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as then:
        then.setattr(schema, "MIGRATIONS", schema.MIGRATIONS[:1])
        then.setattr(journal, "note", lambda *_: None)  # which no book had then
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


def at_once(work: Callable[[], None], threads: int = 6) -> list[BaseException]:
    """Do it in several threads at once; what went wrong."""
    errors: list[BaseException] = []

    def watched() -> None:
        try:
            work()
        except BaseException as error:
            errors.append(error)

    running = [threading.Thread(target=watched) for _ in range(threads)]
    for thread in running:
        thread.start()
    for thread in running:
        thread.join()
    return errors


def test_of_many_that_make_a_book_at_once_none_is_refused(tmp_path: Path) -> None:
    """Of 300 such starts by six, five were refused before switching to write-ahead logging was tried again."""
    for number in range(20):
        assert at_once(lambda number=number: open_records(tmp_path / f"{number}", LONG).close()) == []  # type: ignore[misc]


def test_several_programs_that_write_at_once_lose_nothing(tmp_path: Path) -> None:
    def work() -> None:
        with open_records(tmp_path / "records", LONG) as records:
            for _ in range(5):
                records.add_client(Client(name="x"))

    assert at_once(work) == []
    with open_records(tmp_path / "records") as records:
        assert len(records.clients()) == 30 and check_records(records).sound


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
        pages = records.database.read("PRAGMA page_count")[0][0]
        records.database.read(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(RecordsError, match=r"disk is full; make room .* nothing was changed"):
            records.save_draft({"text": "x" * 500_000})
        records.database.read("PRAGMA max_page_count = 1000000")
        assert records.recent_drafts() == () and check_records(records).sound
        records.save_draft({"text": "x" * 500_000})


def limited(room: int) -> Callable[[], None]:
    """The system itself refuses to write a file beyond a size."""

    def limit() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))

    return limit


@pytest.mark.parametrize("room", [0, 60_000, 140_000])
def test_a_disk_that_takes_no_more_bytes_loses_nothing(room: int, tmp_path: Path) -> None:
    photo(tmp_path / "a.jpg")
    read, write = os.pipe()

    def work() -> None:
        try:
            write_all()
        except RecordsError as error:
            os.write(write, str(error).encode())
            sys.exit(7)

    assert run(tmp_path, work, before=limited(room)).status == 7
    os.close(write)  # or a program that wrote nothing is waited for without end
    assert b"make room" in os.read(read, 9999)
    nothing_lost(tmp_path / "records", "")


def test_a_folder_without_rights_is_one_sentence(tmp_path: Path) -> None:
    home = tmp_path / "home"
    book(home / "records")

    def work() -> None:
        tries = ((home / "records", True), (home / "records", False), (home / "records" / "new", False))
        for folder, writes in tries:
            try:
                with open_records(folder) as records:
                    records.add_client(Client(name="B")) if writes else records.clients()
            except RecordsError as error:
                print(error)

    ended = as_a_stranger(tmp_path, home, tmp_path / "elsewhere", work)
    lines = ended.out.splitlines()
    assert len(lines) >= 2 and all("permissions of the folder" in line for line in lines), (lines, ended.err)


@pytest.mark.parametrize("full", [False, True])
def test_without_room_or_rights_the_book_is_read_checked_printed_and_backed_up(full: bool, tmp_path: Path) -> None:
    home, elsewhere = tmp_path / "home", tmp_path / "elsewhere"
    kept = book(home / "records")
    (home / "collection").mkdir()
    with open_records(home / "records") as records:
        records.sign("treatment", kept.treatment.id, "Kim")
        paper_of_treatment(records, 1)  # what it needs is loaded by now
    read, write = os.pipe()
    b"x".decode("cp437")  # and what a zip needs

    def work() -> None:
        with open_records(home / "records") as records:
            name, paper = records.clients()[0].name, paper_of_treatment(records, 1)
            os.write(write, f"{name} {check_records(records).faults} {paper[:4]!r}".encode())
            with pytest.raises(RecordsError, match="make room" if full else "permissions"):
                records.add_client(Client(name="B"))
        if not full:
            os.write(write, f" {back_up(home, elsewhere / 'b.zip').files}".encode())

    ended = run(home, work, before=limited(0)) if full else as_a_stranger(tmp_path, home, elsewhere, work)
    os.close(write)  # or a program that wrote nothing is waited for without end
    assert os.read(read, 9999).decode() == f"A. Wattle () b'%PDF'{'' if full else ' 2'}", ended.err


@pytest.mark.parametrize("open_log", [False, True])
@pytest.mark.parametrize("version", [1, 4, NEWEST])
def test_without_rights_a_book_of_any_version_is_read_and_backed_up_with_its_log(
    version: int, open_log: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    home, elsewhere = tmp_path / "home", tmp_path / "elsewhere"
    with monkeypatch.context() as then:
        then.setattr(schema, "MIGRATIONS", schema.MIGRATIONS[:version])
        if version < schema.JOURNAL:
            for name in ("note", "note_outside_change", "mark"):
                then.setattr(journal, name, lambda *_: "")
        book(tmp_path / "records")
        with open_records(tmp_path / "records") as records:
            records.add_client(Client(name="B. Banksia"))
            if not open_log:
                records.close()
            shutil.copytree(tmp_path / "records", home / "records")
    (home / "records" / f"{FILE}-shm").unlink(missing_ok=True)  # as a copy of a disk has it
    before = {path: path.read_bytes() for path in (home / "records").iterdir()}
    assert any(path.name.endswith("-wal") for path in before) == open_log
    read, write = os.pipe()
    b"x".decode("cp437")  # what a zip needs is loaded by now

    def work() -> None:
        with open_records(home / "records") as records:
            os.write(write, f"{[one.name for one in records.clients()]} {check_records(records).faults}".encode())
            with pytest.raises(RecordsError, match="can be read but not changed; fix the permissions"):
                records.add_client(Client(name="C"))
            if version == 1:
                with pytest.raises(RecordsError, match="needs an id of its own"):
                    records.dataset()
        back_up(home, elsewhere / "b.zip")

    ended = as_a_stranger(tmp_path, home, elsewhere, work)
    os.close(write)  # or a program that wrote nothing is waited for without end
    assert os.read(read, 9999).decode() == "['A. Wattle', 'B. Banksia'] ()", ended.err
    assert ended.status == 0, ended.err
    assert {path: path.read_bytes() for path in (home / "records").iterdir()} == before
    restore(plan_restore(elsewhere / "b.zip", tmp_path / "other"))
    with open_records(tmp_path / "other" / "records") as records:
        assert len(records.clients()) == 2 and check_records(records).sound


def test_writing_to_a_book_that_was_replaced_is_refused(tmp_path: Path) -> None:
    book(tmp_path / "records")
    with open_records(tmp_path / "records") as records:
        (tmp_path / "records").rename(tmp_path / "aside")
        book(tmp_path / "records")
        with pytest.raises(RecordsError, match="replaced by another"):
            records.add_client(Client(name="B"))


@pytest.fixture
def backup(tmp_path: Path) -> Path:
    """A backup of a home in which a treatment was signed since."""
    kept = book(tmp_path / "records")
    back_up(tmp_path, tmp_path / "b.zip")
    with open_records(tmp_path / "records") as records:
        records.sign("treatment", kept.treatment.id, "Kim")
    return tmp_path / "b.zip"


def signed_in(folder: Path) -> int:
    with closing(sqlite3.connect(folder / FILE)) as kept:
        return int(kept.execute("SELECT count(*) FROM signed").fetchone()[0])


def test_what_was_signed_since_the_backup_outlives_several_restores(backup: Path, tmp_path: Path) -> None:
    for _ in range(3):
        restore(plan_restore(backup, tmp_path))
    aside = sorted(path.name for path in tmp_path.glob("before-restore*"))
    assert aside == ["before-restore", "before-restore-2"], "only what has something signed is kept beyond"
    assert [signed_in(tmp_path / name / "records") for name in ("before-restore-2", "before-restore")] == [1, 0]
    (tmp_path / "before-restore" / "records" / FILE).write_bytes(b"damaged")
    restore(plan_restore(backup, tmp_path))
    assert (tmp_path / "before-restore-3").is_dir(), "what cannot be read may hold something signed"


def test_a_restore_that_another_program_holds_up_is_not_done_later_unasked(
    backup: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.records.locks.SHORT_PATIENCE", 0.1)
    with closing(sqlite3.connect(tmp_path / "records" / FILE, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(RecordsError, match="another program is writing to it"):
            restore(plan_restore(backup, tmp_path))
    assert not finish_restore(tmp_path) and not (tmp_path / ".restored").exists()
    assert signed_in(tmp_path / "records") == 1 and not (tmp_path / ".restoring").exists()
    restore(plan_restore(backup, tmp_path))
    assert signed_in(tmp_path / "records") == 0


def test_a_restore_that_fails_when_it_is_half_in_place_says_that_it_goes_on(backup: Path, tmp_path: Path) -> None:
    plan = plan_restore(backup, tmp_path)
    goes_on = pytest.raises(RecordsError, match="the next start of swardkey goes on with it")
    with kill_points(tmp_path, "rename records", refuse(28)), goes_on:
        restore(plan)
    assert finish_restore(tmp_path) and signed_in(tmp_path / "records") == 0
    assert signed_in(tmp_path / "before-restore" / "records") == 1


@pytest.mark.parametrize("lies", ["folder", "link to a device", "pipe"])
def test_what_lies_in_the_place_of_the_book_is_a_sentence_and_a_backup_says_what_it_lacks(
    lies: str, tmp_path: Path
) -> None:
    book(tmp_path / "records")
    (file := tmp_path / "records" / FILE).unlink()
    if lies == "folder":
        file.mkdir()
    elif lies == "pipe":
        os.mkfifo(file)
    else:
        file.symlink_to("/dev/zero")
    with pytest.raises(RecordsError, match="is not an ordinary file; move it away"):
        open_records(tmp_path / "records")
    assert "no record is in this backup" in back_up(tmp_path, tmp_path / "b.zip").notes[0]


def alarm() -> None:
    signal.alarm(60)  # which ends whoever waits


def test_a_pipe_in_the_place_of_the_list_of_signatures_is_not_waited_for(tmp_path: Path) -> None:
    book(tmp_path / "records")
    os.mkfifo(tmp_path / "records" / SIGNED_LIST)

    def work() -> None:
        with open_records(tmp_path / "records") as records:
            assert records.sign("visit", 1, "Kim").sequence == 1
            assert f"{SIGNED_LIST}: cannot be read (is not an ordinary file)" in check_records(records).faults
        back_up(tmp_path, tmp_path / "b.zip")

    ended = run(tmp_path, work, before=alarm)
    assert ended.status == 2 and "signed.txt: is not an ordinary file" in ended.err
