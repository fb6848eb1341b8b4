"""Backup and restore: all of it, checked, and the old or the new whatever happens."""

from __future__ import annotations

import hashlib
import json
import os
import resource
import shutil
import signal
import sqlite3
import stat
import tempfile
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from app.command_line import tidy_up
from app.records import (
    Client,
    KeptPhoto,
    RecordsError,
    back_up,
    check_records,
    open_records,
    plan_restore,
    restore,
)
from app.records.backup import WORK_FOLDER, sweep_backups
from app.records.database import FILE
from app.records.switch import ASIDE, CHECKED, UNFINISHED
from model.storage import is_unfinished
from tests.app.record_book import keep_some, photo
from tests.security.forked import commands, killed_over, run

Made = tuple[Path, Path, Path]
Members, Manifest = dict[str, bytes], dict[str, Any]
Change = Callable[[Members, Manifest], Any]
without_fork = pytest.mark.skipif(
    os.name == "nt", reason="without fork nothing is killed half-way, so a record lost in a crash goes unseen"
)


def fill(home: Path, name: str) -> None:
    """A home with a little of everything; ``name`` tells it from another."""
    with open_records(home / "records") as records:
        kept = keep_some(records)
        records.add_photo(KeptPhoto(kept.visit, records.store_photo(photo(home / "a.jpg", len(name)))))
        records.sign("treatment", kept.treatment.id, "Kim")
        records.add_client(Client(name=name))
        records.save_draft({"of": name})
    (home / "a.jpg").unlink()
    for file, text in {
        "collection/manifest.csv": name,
        "collection/species/rosa_rugosa.yaml": name,
        "collection/photos/ab/x.jpg": name * 100,
        "models/20260101T000000Z-aaaaaaaa/model.json": name,
        "models/current.json": name,
        "drafts/q.json": name,
    }.items():
        (home / file).parent.mkdir(parents=True, exist_ok=True)
        (home / file).write_text(text)
    for left_out in ("cache/configs.json", "faults/f.txt", "collection/.hidden", "collection/manifest.lock"):
        (home / left_out).parent.mkdir(parents=True, exist_ok=True)
        (home / left_out).write_text("not to be kept")


def named(home: Path) -> str:
    """Whose home it is, if it is whole; all parts must agree."""
    with open_records(home / "records") as records:
        found = {client.name for client in records.clients()} - {"A. Wattle"}
        assert check_records(records).sound
        assert {draft.state["of"] for draft in records.recent_drafts()} == found
    for file in (
        "collection/manifest.csv",
        "collection/species/rosa_rugosa.yaml",
        "models/current.json",
        "drafts/q.json",
    ):
        found.add((home / file).read_text())
    assert len(found) == 1, found
    return found.pop()


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """A home, a backup of it, and another home."""
    folder = tmp_path_factory.mktemp("made")
    for name in ("first", "second"):
        (folder / name).mkdir()
        fill(folder / name, name)
    back_up(folder / "first", folder / "b.zip")
    return folder / "first", folder / "b.zip", folder / "second"


def other_home(made: Made, target: Path) -> Path:
    return Path(shutil.copytree(made[2], target))


def test_a_backup_holds_what_matters_and_brings_it_back(made: Made, tmp_path: Path) -> None:
    home, file, _ = made
    with zipfile.ZipFile(file) as archive:
        names = set(archive.namelist())
        manifest = json.loads(archive.read("manifest.json"))
        assert all(
            hashlib.sha256(archive.read(name)).hexdigest() == entry["sha256"]
            for name, entry in manifest["files"].items()
        )
    assert names - {"manifest.json"} == set(manifest["files"])
    assert {
        "records/records.sqlite",
        "records/signed.txt",
        "collection/species/rosa_rugosa.yaml",
        "drafts/q.json",
    } <= names
    assert not any(word in name for name in names for word in ("cache", "faults", "hidden", "lock", "-wal"))
    fresh = tmp_path / "fresh"
    plan = plan_restore(file, fresh)
    assert plan.replaces == () and "records" in str(plan)
    restore(plan)
    assert named(fresh) == named(home) == "first"
    with open_records(fresh / "records") as there, open_records(home / "records") as here:
        assert there.versions("treatment", 1) == here.versions("treatment", 1)


def test_the_old_folders_are_kept_aside_once(made: Made, tmp_path: Path) -> None:
    home = other_home(made, tmp_path / "home")
    restore(plan_restore(made[1], home))
    assert (named(home), named(home / ASIDE)) == ("first", "second")
    restore(plan_restore(made[1], home))
    assert (named(home), named(home / ASIDE)) == ("first", "first")
    assert {p.name for p in home.iterdir() if p.name.startswith(".")} <= {".restore.lock"}


def test_folders_that_the_backup_lacks_stay(tmp_path: Path) -> None:
    home = tmp_path / "home"
    with open_records(home / "records") as records:
        records.add_client(Client(name="x"))
    back_up(home, tmp_path / "b.zip")
    (home / "models").mkdir()
    (home / "models" / "current.json").write_text("mine")
    plan = plan_restore(tmp_path / "b.zip", home)
    assert plan.stays == ("models",)
    restore(plan)
    assert (home / "models" / "current.json").read_text() == "mine"


def test_a_backup_is_never_written_over_another_file(made: Made, tmp_path: Path) -> None:
    (tmp_path / "b.zip").write_text("something else")
    with pytest.raises(RecordsError, match="is there already"):
        back_up(made[0], tmp_path / "b.zip")
    with pytest.raises(RecordsError, match="no such folder"):
        back_up(made[0], tmp_path / "nowhere" / "b.zip")
    with pytest.raises(RecordsError, match="holds nothing yet"):
        back_up(tmp_path / "empty", tmp_path / "c.zip")
    assert [p.name for p in tmp_path.iterdir()] == ["b.zip"]


def test_unsound_records_are_backed_up_and_said(made: Made, tmp_path: Path) -> None:
    home = other_home(made, tmp_path / "home")
    next((home / "records" / "photos").rglob("*.jpg")).unlink()
    assert "not sound: photo" in back_up(home, tmp_path / "b.zip").notes[0]


@pytest.fixture
def fresh(made: Made, tmp_path: Path) -> Callable[[], Path]:
    """A function that makes a copy of the second home."""
    homes = iter(range(99))
    return lambda: other_home(made, tmp_path / f"{next(homes)}")


@without_fork
def test_a_backup_killed_at_any_point_leaves_nothing_once_the_program_starts_again(
    fresh: Callable[[], Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (elsewhere := tmp_path / "elsewhere").mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(elsewhere))
    left = set()
    for home, _ in killed_over(fresh, commands(["backup", "b.zip"]), 6):
        left |= {file.name.rpartition(".")[2] for file in unfinished(home)}
        monkeypatch.setenv("SWARDKEY_HOME", str(home))
        tidy_up()  # what every start of swardkey does
        assert not unfinished(home) and not any(elsewhere.rglob(FILE))
        if (home / "b.zip").exists():
            assert plan_restore(home / "b.zip", tmp_path).files
        assert named(home) == "second"


def unfinished(home: Path) -> list[Path]:
    """What a backup has only while it is made."""
    return [file for file in home.iterdir() if file.name.startswith(WORK_FOLDER) or is_unfinished(file)]


def test_a_backup_that_is_being_made_is_not_swept_away(made: Made, tmp_path: Path) -> None:
    home = other_home(made, tmp_path / "home")
    seen = []

    def swept(files: int) -> None:
        sweep_backups(home)
        seen.append(len(unfinished(home)))

    back_up(home, home / "b.zip", swept)
    assert set(seen) == {2} and not unfinished(home) and plan_restore(home / "b.zip", home).files
    (home / f"{WORK_FOLDER}x").mkdir()
    (home / f"{WORK_FOLDER}x" / "zip.txt").write_text(str(home / "b.zip"))
    sweep_backups(home)
    assert (home / "b.zip").exists() and not unfinished(home), "only what is unfinished goes"


@without_fork
def test_a_restore_killed_at_any_point_leaves_the_old_or_the_new(
    made: Made, fresh: Callable[[], Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    found = []
    for home, _ in killed_over(fresh, commands(["restore", str(made[1]), "--yes"]), 10):
        monkeypatch.setenv("SWARDKEY_HOME", str(home))
        tidy_up()  # what every start of swardkey does
        assert not [path for path in home.iterdir() if path.name.startswith((UNFINISHED, ".gone-"))]
        found.append(named(home))
        if found[-1] == "first" and (home / ASIDE).exists():
            assert named(home / ASIDE) == "second"
        assert not (home / CHECKED).exists()
        restore(plan_restore(made[1], home))  # and it can be done again
        assert named(home) == "first" and not (home / UNFINISHED).exists()
    assert found[1:] == sorted(found[1:], reverse=True) and set(found[1:]) == {"first", "second"}


@without_fork
@pytest.mark.parametrize("room", [0, 4_000, 90_000])
def test_a_full_disk_leaves_all_as_it_was(room: int, made: Made, tmp_path: Path) -> None:
    home = other_home(made, tmp_path / "home")
    read, write = os.pipe()

    def limit() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))

    def work() -> None:
        for attempt in (lambda: back_up(home, tmp_path / "new.zip"), lambda: restore(plan_restore(made[1], home))):
            with pytest.raises(RecordsError) as refused:
                attempt()
            os.write(write, f"{refused.value}\n".encode())

    assert run(home, work, before=limit).status == 0
    assert os.read(read, 9999).count(b"make room") == 2
    assert named(home) == "second"
    assert not (tmp_path / "new.zip").exists() and not (home / UNFINISHED).exists()


def rewritten(file: Path, target: Path, change: Change) -> Path:
    """The backup with its members and manifest changed; sizes and sha256 are made to fit again."""
    with zipfile.ZipFile(file) as archive:
        members = {name: archive.read(name) for name in archive.namelist() if name != "manifest.json"}
        manifest = json.loads(archive.read("manifest.json"))
    manifest["files"] = {}
    change(members, manifest)
    listed = {name: {"size": len(d), "sha256": hashlib.sha256(d).hexdigest()} for name, d in members.items()}
    manifest["files"] = listed | manifest["files"]
    with zipfile.ZipFile(target, "w") as archive:
        for name, data in members.items():
            archive.writestr(name, data)
        archive.writestr("manifest.json", json.dumps(manifest))
    return target


def adds(name: str, data: bytes = b"1") -> Change:
    return lambda members, manifest: members.update({name: data})


def lists(**fields: Any) -> Change:
    return lambda members, manifest: manifest.update(fields)


def runs(*statements: str) -> Change:
    """The record book after SQL that another program ran."""

    def change(members: Members, manifest: Manifest) -> None:
        path = Path(os.environ["SWARDKEY_HOME"]).parent / "tampered.sqlite"
        path.write_bytes(members[BOOK])
        with closing(sqlite3.connect(path)) as opened:
            for statement in statements:
                opened.execute(statement)
            opened.commit()
        members[BOOK] = path.read_bytes()

    return change


def without_photos(members: Members, manifest: Manifest) -> None:
    for name in [name for name in members if name.startswith("records/photos")]:
        del members[name]


def longer_chain(members: Members, manifest: Manifest) -> None:
    members["records/signed.txt"] += b"2 " + b"0" * 64 + b"\n"


BOOK = f"records/{FILE}"
ZEROS = "0" * 64
EVIL = "CREATE TRIGGER evil AFTER INSERT ON clients BEGIN DELETE FROM drafts; END"
HOSTILE: dict[str, tuple[Change, str]] = {
    "above": (adds("../x"), "leaves the folder"),
    "deep above": (adds("collection/../../x"), "leaves the folder"),
    "absolute": (adds("/etc/x"), "absolute"),
    "drive": (adds("C:/x"), "absolute"),
    "device": (adds("collection/con.csv"), "device"),
    "another folder": (adds("cache/configs.json"), "belongs in no backup"),
    "hidden switch": (adds(".restored/new/records/x"), "belongs in no backup"),
    "top file": (adds("records"), "belongs in no backup|same name"),
    "beside the book": (adds("records/records.sqlite-wal"), "no record book"),
    "case": (adds("collection/MANIFEST.csv"), "differs in case"),
    "archive inside": (adds("collection/a.zip"), "archive inside"),
    "unlisted": (lists(files={"collection/gone.csv": {"size": 1, "sha256": ZEROS}}), "not as its"),
    "wrong sha256": (lists(files={"drafts/q.json": {"size": 5, "sha256": ZEROS}}), "not what was backed up"),
    "wrong name of a photo": (adds(f"records/photos/aa/{'aa' * 32}.jpg"), "not the photo"),
    "no manifest fields": (
        lambda _, manifest: manifest.clear() or manifest.update(files={}),
        "json is not valid",
    ),
    "odd folder": (lists(folders=["records", "../x"]), "json is not valid"),
    "folder not named": (lists(folders=["records"]), "in no folder"),
    "later version": (lists(version=9), "version 9"),
    "file and folder": (lambda m, _: m.update({"models/a": b"1", "models/a/b": b"1"}), "both a file and a folder"),
    "long list": (lists(made_by="x" * 100_000), "list of files is too long"),
    "empty book": (adds(BOOK, b""), "not as swardkey makes them"),
    "not a book": (adds(BOOK, b"x" * 5000), "not a record book"),
    "trigger": (runs(EVIL), "not as swardkey makes them"),
    "guard gone": (runs("DROP TRIGGER signed_never_goes"), "not as swardkey makes them"),
    "draft that is none": (runs(f"UPDATE drafts SET state = '{'[' * 50_000}'"), "not sound"),
    "near that is none": (runs("UPDATE sites SET near = '[{}]'"), "not sound"),
    "index forged": (runs("DROP TABLE words_index", "CREATE VIEW words_index AS SELECT 1 AS text"), "not as swardkey"),
    "chain cut": (longer_chain, "not sound"),
    "photo lost": (without_photos, "not sound"),
}


@pytest.mark.parametrize("kind", HOSTILE)
def test_a_hostile_backup_is_refused_and_nothing_changes(kind: str, made: Made, tmp_path: Path) -> None:
    change, told = HOSTILE[kind]
    home = other_home(made, tmp_path / "home")
    file = rewritten(made[1], tmp_path / "bad.zip", change)
    before = {p.name for p in tmp_path.iterdir()}
    with pytest.raises(RecordsError, match=told):
        restore(plan_restore(file, home))
    assert named(home) == "second" and not (home / ASIDE).exists()
    assert {p.name for p in tmp_path.iterdir()} == before


def test_a_link_and_a_packed_bomb_are_refused(made: Made, tmp_path: Path) -> None:
    for number, member in enumerate((zipfile.ZipInfo("collection/link"), zipfile.ZipInfo("collection/bomb"))):
        file = tmp_path / f"{number}.zip"
        with zipfile.ZipFile(file, "w") as archive:
            member.external_attr = (stat.S_IFLNK | 0o777) << 16 if not number else 0o600 << 16
            packed = zipfile.ZIP_DEFLATED if number else zipfile.ZIP_STORED
            archive.writestr(member, b"/etc/passwd" if not number else b"\0" * 10**7, packed)
        with pytest.raises(RecordsError, match=r"is a link|over 100 times|is packed"):
            plan_restore(file, tmp_path)


@pytest.mark.parametrize("step", range(1, 24))
def test_a_backup_cut_short_or_with_a_byte_changed_is_refused(step: int, made: Made, tmp_path: Path) -> None:
    data = bytearray(made[1].read_bytes())
    cut = len(data) * step // 24
    (tmp_path / "cut.zip").write_bytes(data[:cut])
    with pytest.raises(RecordsError):
        restore(plan_restore(tmp_path / "cut.zip", tmp_path / "home"))
    with zipfile.ZipFile(made[1]) as archive:
        info = archive.infolist()[step % len(archive.infolist())]
    data[info.header_offset + 30 + len(info.filename) + 20 + info.file_size // 2] ^= 0xFF
    (tmp_path / "flipped.zip").write_bytes(data)
    with pytest.raises(RecordsError):
        restore(plan_restore(tmp_path / "flipped.zip", tmp_path / "home"))
    assert not (tmp_path / "home" / "records").exists()


def test_what_is_no_backup_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "a.zip").write_text("no zip")
    with zipfile.ZipFile(tmp_path / "b.zip", "w"):
        pass
    for name, told in (("a.zip", "a readable backup"), ("b.zip", "a backup of swardkey"), ("c.zip", "No such file")):
        with pytest.raises(RecordsError, match=told):
            plan_restore(tmp_path / name, tmp_path / "home")
