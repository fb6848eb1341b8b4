"""The user's models: immutable, one in charge, and no crash or full disk leaves anything in between."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from multiprocessing import get_context
from pathlib import Path

import pytest
from filelock import FileLock

from model.errors import ModelError
from model.photo.saved import STARTER as SHIPPED
from tests.security.kill_points import kill_points, refuse
from tests.security.killed import ROOT, promote_until
from training.registry import models as module
from training.registry.model_folder import MANIFEST, fault_of
from training.registry.models import STARTER, STARTER_FOLDER, Registry

Full = tuple[Registry, str, Path]


def model(folder: Path, text: str, species: int = 2) -> Path:
    """A folder with the files of a model; what they hold is not looked at here."""
    folder.mkdir(parents=True)
    (folder / "head.safetensors").write_bytes(text.encode() * 1000)
    (folder / "model.json").write_text(json.dumps({"classes": [f"s{i}" for i in range(species)] + ["other:x"]}))
    (folder / "card.md").write_text(text)
    return folder


@pytest.fixture
def registry(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Registry:
    monkeypatch.setattr(os, "fsync", lambda handle: None)  # what a process wrote outlives the process anyway
    return Registry(tmp_path / "models")


@pytest.fixture
def two(registry: Registry, tmp_path: Path) -> tuple[str, str]:
    """The names of two models that are installed; none is active."""
    one, another = (registry.install(model(tmp_path / n, n)) for n in ("one", "two"))
    return one, another


@pytest.fixture
def full(registry: Registry, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Full:
    """A registry with as many models as are kept, the newest active; its name, and a new model's folder."""
    monkeypatch.setattr(module, "KEPT", 2)  # fewer to copy than in use
    for n in range(3):
        name = registry.install(model(tmp_path / f"m{n}", f"model {n}"))
        (registry.folder / name).rename(registry.folder / f"2026010{n}{name[8:]}")
    for name in registry.names()[-2:]:
        registry.use(name)
    return registry, registry.names()[-1], model(tmp_path / "new", "the new model")


def hidden(registry: Registry) -> list[str]:
    return [p.name for p in registry.folder.iterdir() if p.name.startswith((".new", ".gone")) or p.suffix == ".new"]


def test_without_any_model_the_shipped_one_is_in_charge_and_reading_writes_nothing(registry: Registry) -> None:
    found = registry.in_charge()
    assert (found.name, found.folder, found.note) == (STARTER, STARTER_FOLDER, "")
    assert STARTER_FOLDER == SHIPPED
    assert not registry.folder.exists()
    assert [m.name for m in registry.installed()] == [STARTER] and registry.installed()[0].in_charge


def test_install_use_undo(registry: Registry, two: tuple[str, str]) -> None:
    one, another = two
    assert registry.in_charge().name == STARTER, "installing activates nothing"
    with pytest.raises(ModelError, match="nothing to undo"):
        registry.undo()
    registry.use(one)
    registry.use(another)
    assert registry.in_charge().name == another
    assert registry.undo().name == one and registry.in_charge().name == one
    assert registry.undo().name == another, "undoing twice ends where it began"
    listed = {m.name: m for m in registry.installed()}
    assert listed[another].in_charge and listed[one].previous and listed[one].species == 2
    actions = [entry["action"] for entry in registry.history()]
    assert actions == ["use", "use", "undo", "undo"]


def test_undo_after_the_first_model_returns_to_the_starter(registry: Registry, two: tuple[str, str]) -> None:
    registry.use(two[0])
    assert registry.undo().name == STARTER


def test_the_registry_starts_no_deep_learning() -> None:
    code = "import sys, training.registry.models\nprint([m for m in ('torch', 'numpy', 'sklearn') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_same_files_are_installed_once_unless_the_first_copy_is_damaged(registry: Registry, tmp_path: Path) -> None:
    source = model(tmp_path / "one", "one")
    first = registry.install(source)
    assert registry.install(source) == first and registry.names() == [first]
    (registry.folder / first / "card.md").write_text("changed")
    assert fault_of(registry.folder / registry.install(source)) == ""


def _forged(folder: Path) -> None:
    (folder / "card.md").write_text("forged")
    lines = [line for line in (folder / MANIFEST).read_text().splitlines() if "card.md" not in line]
    (folder / MANIFEST).write_text("\n".join([*lines, f"{hashlib.sha256(b'forged').hexdigest()}  card.md"]) + "\n")


DAMAGE: dict[str, Callable[[Path], object]] = {
    "head.safetensors is not as it was written": lambda folder: (folder / "head.safetensors").write_bytes(b"x"),
    "model.json is missing": lambda folder: (folder / "model.json").unlink(),
    "extra.json does not belong to it": lambda folder: (folder / "extra.json").write_text("{}"),
    "is not the one that was written": _forged,
    "is missing or cannot be read": lambda folder: (folder / MANIFEST).unlink(),
}


@pytest.mark.parametrize("says", DAMAGE)
def test_a_damaged_model_falls_back_to_the_one_before_then_to_the_starter_and_says_so(
    registry: Registry, two: tuple[str, str], says: str
) -> None:
    one, another = two
    registry.use(one)
    registry.use(another)
    DAMAGE[says](registry.folder / another)
    found = registry.in_charge()
    assert found.name == one and says in found.note and another in found.note and one in found.note
    assert {m.name: bool(m.fault) for m in registry.installed()} == {STARTER: False, one: False, another: True}
    with pytest.raises(ModelError, match="damaged"):
        registry.use(another)
    DAMAGE[says](registry.folder / one)
    found = registry.in_charge()
    assert found.name == STARTER and "the starter that was shipped is used instead" in found.note
    with pytest.raises(ModelError, match="damaged"):
        registry.undo()


def test_a_model_that_cannot_be_read_though_its_files_are_whole_falls_back_too(
    registry: Registry, tmp_path: Path
) -> None:
    name = registry.install(model(tmp_path / "one", "one"))
    registry.use(name)

    def read(folder: Path) -> str:
        if folder.name == name:
            raise ModelError(f"{folder}: was made with other views")
        return folder.name

    read_from, found = registry.load(read)
    assert read_from == found.name == STARTER and "other views" in found.note


@pytest.mark.parametrize("text", ["", "{", "[]", '{"current": "../../etc"}', '{"current": 3}', '{"what": 1}'])
def test_a_damaged_pointer_gives_the_starter_and_can_be_repaired(registry: Registry, tmp_path: Path, text: str) -> None:
    name = registry.install(model(tmp_path / "one", "one"))
    (registry.folder / "current.json").write_text(text)
    found = registry.in_charge()
    assert found.name == STARTER and "swardkey models use NAME" in found.note
    registry.use(name)
    assert registry.in_charge().name == name


def test_names_that_are_not_installed_are_refused_with_the_nearest(registry: Registry, tmp_path: Path) -> None:
    name = registry.install(model(tmp_path / "one", "one"))
    with pytest.raises(ModelError, match=f"did you mean {name}"):
        registry.use(name[:-1] + "g")
    for bad in ("../models", "", ".", "current.json"):
        with pytest.raises(ModelError, match="is not installed"):
            registry.use(bad)


def test_the_last_few_are_kept_with_the_active_one_the_one_before_and_pinned(full: Full, tmp_path: Path) -> None:
    registry, old, source = full
    first = registry.names()[0]
    registry.pin(first)
    new = registry.install(source)
    registry.use(new)
    for n in range(4):
        registry.install(model(tmp_path / f"later{n}", f"later {n}"))
    assert {first, old, new} <= set(registry.names()) and len(registry.names()) == 5, "pinned, before, active, two"
    registry.pin(first, pinned=False)
    registry.install(model(tmp_path / "last", "last"))
    assert first not in registry.names()


def test_a_change_is_refused_when_another_model_was_activated_meanwhile(
    registry: Registry, two: tuple[str, str]
) -> None:
    registry.use(two[0])
    with pytest.raises(ModelError, match="no longer the active model"):
        registry.use(two[1], must_replace=STARTER)
    assert registry.in_charge().name == two[0]


def test_what_is_used_in_place_of_a_damaged_model_can_be_replaced_and_is_what_undo_reverts_to(
    registry: Registry, two: tuple[str, str], tmp_path: Path
) -> None:
    registry.use(two[0])
    (registry.folder / two[0] / "card.md").write_text("changed")
    registry.use(two[1], "promote", must_replace=STARTER)
    assert registry.in_charge().name == two[1] and registry.undo().name == STARTER
    # So can what stands in for one that only its reader refuses, and for a pointer that cannot be read.
    registry.use(two[1])

    def read(folder: Path) -> None:
        if folder.name == two[1]:
            raise ModelError("was made with other views")

    third = registry.install(model(tmp_path / "third", "third"))
    registry.use(third, "promote", must_replace=STARTER, read=read)
    (registry.folder / "current.json").write_text("damaged")
    registry.use(third, "promote", must_replace=STARTER)
    assert registry.in_charge().name == third


def test_what_is_not_a_model_is_not_installed(registry: Registry, tmp_path: Path) -> None:
    source = model(tmp_path / "one", "one")
    (source / "head.pt").write_bytes(b"pickled")
    with pytest.raises(ModelError, match=r"head\.pt: does not belong in a model"):
        registry.install(source)
    (source / "head.pt").unlink()
    (source / "model.json").unlink()
    with pytest.raises(ModelError, match=r"model\.json is missing"):
        registry.install(source)
    with pytest.raises(ModelError, match="no such folder"):
        registry.install(tmp_path / "nothing")
    (source / "model.json").symlink_to(source / "card.md")
    with pytest.raises(ModelError, match="does not belong"):
        registry.install(source)
    assert registry.names() == [] and hidden(registry) == []


def points_of(full: Full, tmp_path: Path) -> list[str]:
    """The points at which a promotion touches the disk, up to the one from which the new model is active."""
    registry, _, source = full
    copy = tmp_path / "copy"
    shutil.copytree(registry.folder, copy)
    return promote_until(copy, source, -1)


@pytest.mark.skipif(os.name == "nt", reason="without SIGKILL a model that a crash would lose goes unseen")
def test_killed_at_every_point_it_is_exactly_the_old_or_the_new_model(full: Full, tmp_path: Path) -> None:
    registry, old, source = full
    points = points_of(full, tmp_path)
    switched = max(n for n, name in enumerate(points) if name == "rename current.json")
    assert len(points) >= 25
    for point, name in enumerate(points):
        models = tmp_path / f"killed{point}"
        shutil.copytree(registry.folder, models)
        # A fork, because sixty interpreters take long to start; the claims start them.
        child = get_context("fork").Process(target=promote_until, args=(models, source, point))
        child.start()
        child.join()
        assert child.exitcode == -signal.SIGKILL, name
        after = Registry(models)
        found = after.in_charge()
        assert found.note == "" and (found.name == old) == (point <= switched), name
        assert all(m.fault == "" for m in after.installed()), name
        # The next try needs no repair first, and leaves nothing of the one that was killed.
        new = after.install(source)
        assert after.use(new).name == after.in_charge().name == new and found.name in (old, new)
        assert hidden(after) == []
        shutil.rmtree(models)


def test_a_disk_that_refuses_at_any_point_is_one_sentence_and_leaves_no_part(full: Full, tmp_path: Path) -> None:
    registry, _, source = full
    point, refused = 0, True
    while refused:
        models, kind = tmp_path / f"refused{point}", (errno.ENOSPC, errno.EACCES)[point % 2]
        shutil.copytree(registry.folder, models)
        after = Registry(models)
        with kill_points(models, point, refuse(kind)) as points:
            try:
                after.use(after.install(source))
            except ModelError as error:
                assert os.strerror(kind) in str(error) and "\n" not in str(error)
        refused = len(points.passed) > point
        found = after.in_charge()
        assert found.note == "" and all(m.fault == "" for m in after.installed()), points.passed[-1:]
        removing = refused and points.passed[point].startswith(("remove .gone", "rmdir .gone"))
        assert hidden(after) == [] or removing, points.passed[point]
        shutil.rmtree(models)
        point += 1
    assert point > 20


def test_a_model_that_is_active_is_not_said_not_to_be(full: Full) -> None:
    """The disk refuses once the file is in its place: the folder cannot be forced to the disk."""
    registry, old, _ = full
    with kill_points(registry.folder, action=refuse(errno.EIO)) as points:
        registry.undo()
    registry.undo()
    last = max(n for n, name in enumerate(points.passed) if name == "fsync .")
    with kill_points(registry.folder, last, refuse(errno.EIO)):
        found = registry.undo()
    assert found.name == registry.in_charge().name != old


def test_the_active_model_is_logged_before_it_is_active(full: Full, tmp_path: Path) -> None:
    points = points_of(full, tmp_path)
    assert points.index("on the disk promotions.jsonl") < points.index("rename current.json")
    named = next(n for n, name in enumerate(points) if name.startswith("rename 20"))
    for file in ("head.safetensors", "model.json", MANIFEST):
        assert any(name.startswith("on the disk .new-") and name.endswith(file) for name in points[:named])


def test_a_log_line_that_was_cut_short_is_left_out_and_the_next_stands_alone(registry: Registry) -> None:
    registry.log("keep", model="a")
    path = registry.folder / "promotions.jsonl"
    path.write_bytes(path.read_bytes() + b'{"at": "2026')
    registry.log("keep", model="b")
    assert [entry["model"] for entry in registry.history()] == ["a", "b"]


def test_only_one_change_at_a_time(registry: Registry, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    source = model(tmp_path / "one", "one")
    registry.install(source)
    monkeypatch.setattr("training.registry.models.PATIENCE", 0.1)
    with FileLock(registry.folder / ".lock"), pytest.raises(ModelError, match="another swardkey is changing"):
        registry.install(model(tmp_path / "two", "two"))
    assert registry.install(source)


def test_a_log_line_that_the_disk_refuses_is_taken_back(registry: Registry) -> None:
    registry.log("keep", model="a")
    before = (registry.folder / "promotions.jsonl").read_bytes()
    refused = kill_points(registry.folder, "fsync promotions.jsonl", refuse(errno.ENOSPC))
    with refused, pytest.raises(ModelError, match="No space left"):
        registry.log("keep", model="b")
    assert (registry.folder / "promotions.jsonl").read_bytes() == before


@pytest.mark.parametrize("slow", [True, False])
def test_a_file_is_replaced_again_where_the_system_is_slow_to_release_it(
    registry: Registry, two: tuple[str, str], monkeypatch: pytest.MonkeyPatch, slow: bool
) -> None:
    """Windows refuses to replace a file that another program is reading."""
    monkeypatch.setattr("model.storage.SLOW_TO_LET_GO", slow)
    monkeypatch.setattr("model.storage.PAUSES", (0.0, 0.0, 0.0))
    true, refused = Path.replace, []

    def replace(self: Path, target: Path) -> Path:
        if len(refused) < 2:
            refused.append(target)
            raise PermissionError(errno.EACCES, "in use")
        return true(self, target)

    monkeypatch.setattr(Path, "replace", replace)
    if slow:
        assert registry.use(two[0]).name == registry.in_charge().name == two[0]
    else:
        with pytest.raises(ModelError, match="the active model is unchanged"):
            registry.use(two[0])
        assert registry.in_charge().name == STARTER and hidden(registry) == []
