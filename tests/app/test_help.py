"""The help of every command: whole words at any width, every option explained, and errors that point to it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
import typer

from app.command_line import COMMANDS, command_line
from model.control import Control
from tests.app.conftest import Run


def every_command() -> Iterator[tuple[str, Any]]:
    """Every command and subcommand by what is typed for it, with its parameters."""
    yield "", typer.main.get_command(command_line())
    for name in COMMANDS:
        command = typer.main.get_command(command_line(name)).commands[name]  # type: ignore[attr-defined]
        yield name, command
        for own, inner in getattr(command, "commands", {}).items():
            yield f"{name} {own}", inner


ALL = dict(every_command())


@pytest.mark.parametrize("width", [40, 80])
@pytest.mark.parametrize("typed", ALL)
def test_a_help_text_is_whole_and_explains_every_option(
    run: Run, monkeypatch: pytest.MonkeyPatch, typed: str, width: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    said = run(*typed.split(), "--help").out
    lines = said.splitlines()
    assert max(map(len, lines)) <= width
    assert "\u2026" not in said and "..." not in re.sub(r"[A-Z]\]?\.\.\.|--less-\.\.\.", "", said), "nothing is cut"
    assert not re.search(r"<\w|x>=|range>|\[\[", said), "no types of the language that it is written in"
    words = " ".join(said.split())
    for parameter in ALL[typed].params:
        assert getattr(parameter, "help", None), f"{typed}: {parameter.name} is not explained"
        assert parameter.opts[-1] in words or parameter.metavar in words


def test_a_group_lists_its_commands_in_whole_sentences(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    listed = " ".join(run("records", "--help").out.split())
    assert "Show one record in its latest version with its signatures; of a site, its history. search" in listed
    monkeypatch.setenv("COLUMNS", "40")
    shown = run("mix", "area", "--help").out
    assert "\n  swardkey mix area --rectangle 12x8\n      --circle 3 --less-rectangle 2x4\n" in shown


def test_the_help_of_the_lawn_names_every_grass_and_variety(run: Run, control: Control) -> None:
    words = " ".join(run("advise", "--help").out.split())
    for grass, lawn in control.lawns.items():
        assert all(re.search(rf"\b{name}\b", words) for name in (grass, *lawn.cultivars)), grass


@pytest.mark.parametrize(
    ("typed", "says"),
    {
        "degree-days f --base x": "--base: must be a number, not 'x'; see swardkey degree-days --help",
        "advise bindii --cover x": "--cover: 'x' is not a number; give one, such as 20 (see swardkey advise --help)",
        "advise bindii --mnth 3": "No such option: --mnth. Did you mean --month? (see swardkey advise --help)",
        "advise bindii --month 14": "--month: '14' is not a month; give 1 to 12, or a name such as May (see swardkey "
        "advise --help)",
        "identify --workers 0 x": "--workers: must be 1 or more; see swardkey identify --help",
        "records show dog 1": "KIND: 'dog' is not one of 'client', 'site', 'visit', 'treatment'; see swardkey records "
        "show --help",
        "records sign visit 1": "Missing option '--by'; see swardkey records sign --help",
        "records dues": "No such command 'dues'. Did you mean 'due'? (see swardkey records --help)",
    }.items(),
)
def test_a_wrong_option_points_to_the_help_of_its_command(run: Run, typed: str, says: str) -> None:
    assert run(*typed.split()).refusal == f"swardkey: {says}\n"


@pytest.mark.parametrize("group", ["", "collect", "mix"])
def test_a_group_without_a_command_shows_its_help(run: Run, group: str) -> None:
    done = run(*group.split())
    assert done.status == 2 and done.out.startswith(f"Usage: swardkey {group}".rstrip()) and "Commands:" in done.out
    assert done.err == f"swardkey: name a command; see {f'swardkey {group}'.strip()} --help\n"
