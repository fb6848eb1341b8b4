"""Progress and Ctrl-C: what a person who waits reads."""

from __future__ import annotations

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
        ("train", "app.commands.train.train_on", "the active model is as it was"),
        ("collect", "training.collection.store.Collection.add", "the photos added so far are kept; run the same"),
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
    monkeypatch.setattr(where, stopped)
    done = run("train") if command == "train" else run("collect", "add", tmp_path, "--yes")
    assert done.status == 130 and f"swardkey: stopped; {kept}" in done.err
