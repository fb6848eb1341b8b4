"""Progress and Ctrl-C: what a person who waits reads."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from app.commands import terminal
from app.commands.terminal import progress_of_stages
from tests.app.conftest import Run
from tests.app.record_book import photo


def test_without_a_bar_each_stage_is_a_line_and_a_long_one_says_how_long_it_takes(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = iter([0.0, 10.0, 40.0, 50.0])
    monkeypatch.setattr(terminal.time, "monotonic", lambda: next(clock))
    with progress_of_stages(quiet=False, log=True) as show:
        show("looking", 0, 8)
        show("looking", 1, 8)
        show("looking", 4, 8)
        show("judging", 0, 1)
    assert capsys.readouterr().err == "looking: 8\nlooking: 4 of 8, 40 seconds left\njudging\n"


@pytest.mark.parametrize(
    ("command", "where", "kept"),
    [
        ("train", "app.commands.train.train_on", "the active model is as it was, and the photos looked at"),
        ("collect add PHOTOS --yes", "app.commands.collect.plan_addition", "nothing was added yet; run the same"),
        (
            "collect add PHOTOS --yes",
            "training.collection.store.Collection.add",
            "the photos added so far are kept; run the same",
        ),
        ("collect open bindii --yes", "app.commands.collect_open.plan_open_photos", "nothing was fetched yet; run"),
        (
            "collect check",
            "app.commands.check_photos.checked",
            "no photo was changed, and the photos looked at so far need not be looked at again; run the same command",
        ),
        (
            "collect check --decisions PHOTOS/d.csv --apply",
            "app.commands.check_photos.apply_decisions",
            "what was decided on and done so far is kept; run the same command again",
        ),
        ("measure PHOTOS", "app.services.measuring.measure_photos", "the photos looked at so far need not be looked"),
        ("models share PHOTOS/a", "app.services.sharing.share_statistics", "no file was written; run the same"),
        ("models join PHOTOS/a --yes", "app.services.sharing.plan_join", "the active model is as it was; run the same"),
        ("backup PHOTOS/b.zip", "app.commands.back_up.back_up", "no backup was written, and your data are as they"),
    ],
)
def test_who_stops_it_reads_what_was_kept_and_how_to_go_on(
    run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, command: str, where: str, kept: str
) -> None:
    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    (tmp_path / "bindii").mkdir()
    photo(tmp_path / "bindii" / "a.jpg")
    monkeypatch.setattr("app.commands.train.photos_to_learn", lambda *_: [])
    monkeypatch.setattr("app.commands.check_photos.photos_to_check", lambda *_: [])
    monkeypatch.setattr(where, stopped)
    done = run(*command.replace("PHOTOS", str(tmp_path)).split())
    assert done.status == 130 and f"swardkey: stopped; {kept}" in done.err and "Traceback" not in done.err


@pytest.mark.parametrize("checked", [True, False])
def test_a_restore_that_is_stopped_says_whether_it_goes_on(
    run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, checked: bool
) -> None:
    run("records", "clients", "--add", "Ann")
    run("backup", tmp_path / "b.zip")
    module, step = ("switch", "_switch") if checked else ("restore", "_unpack")

    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(sys.modules[f"app.records.{module}"], step, stopped)
        done = run("restore", tmp_path / "b.zip", "--yes")
    says = "the next start of swardkey completes it" if checked else "your data are as they were; run the same command"
    assert done.status == 130 and says in done.err
    assert "Ann" in run("records", "clients").out and not (tmp_path / "home" / ".restored").exists()


def test_answers_typed_before_ctrl_c_are_handed_back(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    typed = iter(["1", "u", KeyboardInterrupt()])

    def read(*_: object, **__: object) -> str:
        if isinstance(line := next(typed), BaseException):
            raise line
        return line

    monkeypatch.setattr("rich.console.Console.input", read)
    done = run("ask")
    assert done.status == 130 and "in no file; save them to one, and go on with swardkey ask --answers" in done.err
    assert "\nvisible: [leaves]\n" in done.out and done.out.rstrip().endswith(": unsure")


def test_ctrl_c_before_a_command_begins_says_so(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(name: str) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("app.command_line.command_named", stopped)
    assert run("train").err == "swardkey: stopped; nothing was begun yet\n"
