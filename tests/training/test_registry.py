"""The user's models: immutable, one in charge, and no crash or full disk leaves anything in between."""

from __future__ import annotations

import errno
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from multiprocessing import get_context
from pathlib import Path

import pytest

from model.errors import ModelError
from model.photo.saved import STARTER as SHIPPED
from model.storage import append_line, replace_file
from tests.security.killed import ROOT, promote_until, run
from training.registry.model_folder import MANIFEST, fault_of
from training.registry.models import KEPT, STARTER, STARTER_FOLDER, Registry


def model(folder: Path, text: str, species: int = 2) -> Path:
    """A folder with the files of a model; what they hold is not looked at here."""
    folder.mkdir(parents=True)
    (folder / "head.safetensors").write_bytes(text.encode() * 1000)
    (folder / "model.json").write_text(json.dumps({"classes": [f"s{i}" for i in range(species)] + ["other:x"]}))
    (folder / "recipe.json").write_text("{}")
    (folder / "card.md").write_text(text)
    (folder / "conformal.json").write_text("{}")
    return folder


@pytest.fixture
def registry(tmp_path: Path) -> Registry:
    return Registry(tmp_path / "models")


@pytest.fixture
def full(tmp_path: Path) -> tuple[Registry, str, Path]:
    """A registry with as many models as are kept, the newest in charge; its name, and a new model's folder."""
    registry = Registry(tmp_path / "models")
    for n in range(KEPT + 1):
        name = registry.install(model(tmp_path / f"m{n}", f"model {n}"))
        aged = registry.folder / f"2026010{n}{name[8:]}"
        (registry.folder / name).rename(aged)
    registry.use(registry.names()[-2])
    registry.use(registry.names()[-1])
    return registry, registry.names()[-1], model(tmp_path / "new", "the new model")


@pytest.fixture
def quick_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """No waiting for the disk: what a process wrote outlives the process anyway."""
    monkeypatch.setattr(os, "fsync", lambda handle: None)


def hidden(registry: Registry) -> list[str]:
    return [p.name for p in registry.folder.iterdir() if p.name.startswith((".new", ".gone")) or p.suffix == ".new"]


def test_without_any_model_the_shipped_one_is_in_charge_and_reading_writes_nothing(registry: Registry) -> None:
    found = registry.in_charge()
    assert (found.name, found.folder, found.note) == (STARTER, STARTER_FOLDER, "")
    assert STARTER_FOLDER == SHIPPED
    assert not registry.folder.exists()
    assert [m.name for m in registry.installed()] == [STARTER] and registry.installed()[0].in_charge


def test_install_use_undo(registry: Registry, tmp_path: Path) -> None:
    one, two = (registry.install(model(tmp_path / n, n)) for n in ("one", "two"))
    assert registry.in_charge().name == STARTER, "installing activates nothing"
    registry.use(one)
    registry.use(two)
    assert registry.in_charge().name == two
    assert registry.undo().name == one and registry.in_charge().name == one
    assert registry.undo().name == two, "undoing twice ends where it began"
    listed = {m.name: m for m in registry.installed()}
    assert listed[two].in_charge and listed[one].previous and listed[one].species == 2
    actions = [entry["action"] for entry in registry.history()]
    assert actions == ["use", "use", "undo", "undo"]


def test_undo_after_the_first_model_returns_to_the_starter(registry: Registry, tmp_path: Path) -> None:
    with pytest.raises(ModelError, match="nothing to undo"):
        registry.undo()
    registry.use(registry.install(model(tmp_path / "one", "one")))
    assert registry.undo().name == STARTER


@pytest.mark.timed
def test_undo_on_the_command_line_takes_under_two_seconds(registry: Registry, tmp_path: Path) -> None:
    shutil.copytree(SHIPPED, tmp_path / "real")
    registry.use(registry.install(tmp_path / "real"))
    code = (
        "import sys, pathlib; from training.registry.models import Registry; Registry(pathlib.Path(sys.argv[1])).undo()"
    )
    start = time.perf_counter()
    subprocess.run([sys.executable, "-c", code, str(registry.folder)], cwd=ROOT, check=True)
    assert time.perf_counter() - start < 2.0
    assert registry.in_charge().name == STARTER


def test_the_registry_starts_no_deep_learning() -> None:
    code = "import sys, training.registry.models\nprint([m for m in ('torch', 'numpy', 'sklearn') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_same_files_are_installed_once(registry: Registry, tmp_path: Path) -> None:
    source = model(tmp_path / "one", "one")
    assert registry.install(source) == registry.install(source)
    assert len(registry.names()) == 1


def test_a_damaged_copy_is_not_taken_for_the_same_files(registry: Registry, tmp_path: Path) -> None:
    source = model(tmp_path / "one", "one")
    first = registry.install(source)
    (registry.folder / first / "card.md").write_text("changed")
    again = registry.install(source)
    assert fault_of(registry.folder / again) == ""


def _changed(folder: Path) -> None:
    (folder / "head.safetensors").write_bytes(b"x")


def _gone(folder: Path) -> None:
    (folder / "model.json").unlink()


def _added(folder: Path) -> None:
    (folder / "extra.json").write_text("{}")


def _forged(folder: Path) -> None:
    (folder / "card.md").write_text("forged")
    import hashlib

    lines = [line for line in (folder / MANIFEST).read_text().splitlines() if "card.md" not in line]
    (folder / MANIFEST).write_text("\n".join([*lines, f"{hashlib.sha256(b'forged').hexdigest()}  card.md"]) + "\n")


def _no_manifest(folder: Path) -> None:
    (folder / MANIFEST).unlink()


DAMAGE = {
    "changed": (_changed, "head.safetensors is not as it was written"),
    "gone": (_gone, "model.json is missing"),
    "added": (_added, "extra.json does not belong to it"),
    "forged": (_forged, "is not the one that was written"),
    "no manifest": (_no_manifest, "is missing or cannot be read"),
}


@pytest.mark.parametrize("kind", DAMAGE)
def test_a_damaged_model_falls_back_to_the_one_before_then_to_the_starter_and_says_so(
    registry: Registry, tmp_path: Path, kind: str
) -> None:
    spoil, says = DAMAGE[kind]
    one, two = (registry.install(model(tmp_path / n, n)) for n in ("one", "two"))
    registry.use(one)
    registry.use(two)
    spoil(registry.folder / two)
    found = registry.in_charge()
    assert found.name == one and says in found.note and two in found.note and one in found.note
    assert {m.name: bool(m.fault) for m in registry.installed()} == {STARTER: False, one: False, two: True}
    with pytest.raises(ModelError, match="damaged"):
        registry.use(two)
    spoil(registry.folder / one)
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
def test_a_damaged_pointer_gives_the_starter_and_can_be_mended(registry: Registry, tmp_path: Path, text: str) -> None:
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


def test_the_last_few_are_kept_with_those_in_charge_before_and_pinned(
    full: tuple[Registry, str, Path], tmp_path: Path
) -> None:
    registry, old, source = full
    first, second = registry.names()[:2]
    assert len(registry.names()) == KEPT
    registry.pin(first)
    new = registry.install(source)
    registry.install(model(tmp_path / "one more", "one more"))
    assert first in registry.names() and second not in registry.names() and len(registry.names()) == KEPT + 1
    registry.use(new)
    for n in range(KEPT + 2):
        registry.install(model(tmp_path / f"later{n}", f"later {n}"))
    assert {first, old, new} <= set(registry.names()), "pinned, before, active"
    registry.pin(first, pinned=False)
    registry.install(model(tmp_path / "last", "last"))
    assert first not in registry.names()


def test_a_change_is_refused_when_another_model_came_into_charge_meanwhile(registry: Registry, tmp_path: Path) -> None:
    one, two = (registry.install(model(tmp_path / n, n)) for n in ("one", "two"))
    registry.use(one)
    with pytest.raises(ModelError, match="no longer the active model"):
        registry.use(two, must_replace=STARTER)
    assert registry.in_charge().name == one


def test_what_is_no_model_is_not_installed(registry: Registry, tmp_path: Path) -> None:
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


def steps_of(full: tuple[Registry, str, Path], tmp_path: Path) -> list[str]:
    registry, _, source = full
    copy = tmp_path / "copy"
    shutil.copytree(registry.folder, copy)
    done = run(copy, source, -1)
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


@pytest.mark.usefixtures("quick_disk")
@pytest.mark.skipif(
    os.name == "nt", reason="without SIGKILL no promotion is killed half-way, so a half-installed model goes unseen"
)
def test_killed_at_every_point_it_is_exactly_the_old_or_the_new_model(
    full: tuple[Registry, str, Path], tmp_path: Path
) -> None:
    registry, old, source = full
    steps = steps_of(full, tmp_path)
    assert len(steps) >= 25
    switched = steps.index("current.json replaced")
    for point in range(len(steps)):
        models = tmp_path / f"killed{point}"
        shutil.copytree(registry.folder, models)
        # A fork, because sixty interpreters take long to start; the claims start them.
        child = get_context("fork").Process(target=promote_until, args=(models, source, point))
        child.start()
        child.join()
        assert child.exitcode == -signal.SIGKILL, steps[point]
        after = Registry(models)
        found = after.in_charge()
        assert found.note == "" and fault_of(found.folder) == "", steps[point]
        assert (found.name == old) == (point < switched), steps[point]
        assert all(m.fault == "" for m in after.installed()), steps[point]
        # The next try needs no mending first, and leaves nothing of the one that was killed.
        name = after.install(source)
        assert after.use(name).name == after.in_charge().name == name
        assert (found.name in (old, name)) and hidden(after) == []
        shutil.rmtree(models)


@pytest.mark.usefixtures("quick_disk")
@pytest.mark.parametrize("kind", [errno.ENOSPC, errno.EACCES])
def test_a_disk_that_refuses_at_any_point_is_one_sentence_and_leaves_no_part(
    full: tuple[Registry, str, Path], tmp_path: Path, kind: int
) -> None:
    registry, _, source = full
    steps = steps_of(full, tmp_path)
    for point in range(len(steps)):
        models = tmp_path / f"refused{point}"
        shutil.copytree(registry.folder, models)
        passed = 0

        def refuse(name: str, point: int = point) -> None:
            nonlocal passed
            passed += 1
            if passed == point + 1:
                raise OSError(kind, os.strerror(kind), "the disk")

        after = Registry(models, step=refuse)
        try:
            after.use(after.install(source))
        except ModelError as error:
            assert os.strerror(kind) in str(error) and "\n" not in str(error)
        found = Registry(models).in_charge()
        assert found.note == "" and fault_of(found.folder) == ""
        assert all(m.fault == "" for m in Registry(models).installed()), steps[point]
        if not steps[point].startswith(("an old model", "a file of an old model")):
            assert hidden(after) == [], steps[point]
        shutil.rmtree(models)


def test_a_write_that_the_disk_refuses_leaves_no_part(
    full: tuple[Registry, str, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """As the operating system does it: an fsync fails after part of the data were written."""
    registry, old, source = full
    true, calls = os.fsync, 0

    def fsync(handle: int) -> None:
        nonlocal calls
        calls += 1
        if calls == 3:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        true(handle)

    monkeypatch.setattr(os, "fsync", fsync)
    before = registry.names()
    with pytest.raises(ModelError, match="the active model is unchanged"):
        registry.install(source)
    assert registry.names() == before and hidden(registry) == [] and registry.in_charge().name == old


def test_a_model_that_is_in_charge_is_not_said_not_to_be(full: tuple[Registry, str, Path]) -> None:
    """The disk refuses once the file is in its place."""
    registry, old, _ = full

    def refuse(point: str) -> None:
        if point == "current.json replaced":
            raise OSError(errno.EIO, os.strerror(errno.EIO))

    found = Registry(registry.folder, step=refuse).undo()
    assert found.name == registry.in_charge().name != old


def test_the_model_in_charge_is_logged_before_it_is_in_charge(full: tuple[Registry, str, Path]) -> None:
    registry, _, source = full
    steps: list[str] = []
    noting = Registry(registry.folder, step=steps.append)
    noting.use(noting.install(source))
    assert steps.index("promotions.jsonl on the disk") < steps.index("current.json replaced")
    for file in ("head.safetensors", "model.json", MANIFEST):
        assert steps.index(f"{file} on the disk") < steps.index("folder named")


def test_a_log_line_that_was_cut_short_is_left_out_and_the_next_stands_alone(registry: Registry) -> None:
    registry.log("keep", model="a")
    path = registry.folder / "promotions.jsonl"
    path.write_bytes(path.read_bytes() + b'{"at": "2026')
    registry.log("keep", model="b")
    assert [entry["model"] for entry in registry.history()] == ["a", "b"]


def test_a_line_that_the_disk_refuses_is_taken_back(tmp_path: Path) -> None:
    path = tmp_path / "log"
    append_line(path, "one")

    def refuse(name: str) -> None:
        if name == "log written":
            raise OSError(errno.ENOSPC, "full")

    with pytest.raises(OSError, match="full"):
        append_line(path, "two", refuse)
    assert path.read_text() == "one\n"


def test_only_one_change_at_a_time(registry: Registry, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from filelock import FileLock

    source = model(tmp_path / "one", "one")
    registry.install(source)
    monkeypatch.setattr("training.registry.models.PATIENCE", 0.1)
    with FileLock(registry.folder / ".lock"), pytest.raises(ModelError, match="another swardkey is changing"):
        registry.install(model(tmp_path / "two", "two"))
    assert registry.install(source)


def test_a_file_is_replaced_again_where_the_system_is_slow_to_let_go(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Windows refuses to replace a file that another program reads just now."""
    monkeypatch.setattr("model.storage.SLOW_TO_LET_GO", True)
    monkeypatch.setattr("model.storage.PAUSES", (0.0, 0.0, 0.0))
    true, refused = Path.replace, []

    def replace(self: Path, target: Path) -> Path:
        if len(refused) < 2:
            refused.append(target)
            raise PermissionError(errno.EACCES, "in use")
        return true(self, target)

    monkeypatch.setattr(Path, "replace", replace)
    replace_file(tmp_path / "current.json", b"{}")
    assert len(refused) == 2 and (tmp_path / "current.json").read_bytes() == b"{}"
    monkeypatch.setattr("model.storage.SLOW_TO_LET_GO", False)
    refused.clear()
    with pytest.raises(PermissionError):
        replace_file(tmp_path / "current.json", b"[]")
    assert (tmp_path / "current.json").read_bytes() == b"{}" and len(list(tmp_path.glob(".*"))) == 0
