"""What ships may be passed on, and has floors with reasons; an audit that could not be done is never called clean."""

from __future__ import annotations

import json
import subprocess
import tomllib
from pathlib import Path
from typing import Any

import pytest

from tests.security import supply
from tests.security.supply import OLD, ROOT, audit, fault_of, floors, for_users, shipped

TEXT = (ROOT / "pyproject.toml").read_text(encoding="utf-8")


def test_everything_that_ships_may_be_passed_on() -> None:
    found = shipped(for_users(TEXT))
    assert len(found) > 60 and {"pillow", "starlette", "pydantic-core", "torch"} <= {one.name for one in found}
    assert [f"{one.name}: {one.fault}" for one in found if one.fault] == []
    assert all(one.licence not in ("", "-", "unknown") for one in found)


def test_nothing_of_a_light_install_brings_torch_or_anything_closed() -> None:
    light = {one.name for one in shipped(tomllib.loads(TEXT)["project"]["dependencies"])}
    assert "scikit-learn" in light and not {"torch", "torchvision", "triton"} & light
    assert not [name for name in light if name.startswith(("nvidia-", "cuda-"))]


def test_tools_of_contributors_do_not_ship() -> None:
    assert not {"pytest", "mypy", "timm", "playwright"} & {one.name for one in shipped(["numpy>=2.0", "rich>=13.9"])}
    extras = {one.name for one in shipped(["rich[jupyter]>=13.9"])} - {one.name for one in shipped(["rich>=13.9"])}
    assert extras, "what an extra brings is followed"
    assert [one.fault for one in shipped(["no-such-thing-here>=1"])] == ["is not installed, so nothing is known of it"]
    assert shipped(["no-such-thing-here>=1; python_version < '3'"]) == []


@pytest.mark.parametrize(
    ("licence", "fault"),
    [
        ("MIT", ""),
        ("BSD-3-Clause AND MIT", ""),
        ("MIT OR GPL-2.0-only", ""),
        ("GPL-3.0-only OR (Apache-2.0 AND MIT)", ""),
        ("MPL-2.0 AND (Apache-2.0 OR GPL-3.0-only)", ""),
        ("GPL-3.0-only", "GPL-3.0-only obliges"),
        ("MIT AND (AGPL-3.0-only OR LGPL-3.0-only)", "AGPL-3.0-only obliges"),
        ("GNU Lesser General Public License v3 (LGPLv3)", "GNU Lesser"),
        ("unknown", "unknown is no licence"),
        ("Source Available", "Source Available is no licence"),
    ],
)
def test_a_licence_is_judged_by_its_best_alternative(licence: str, fault: str) -> None:
    found = fault_of(licence)
    assert found.startswith(fault) if fault else found == ""


def test_every_requirement_is_a_floor_with_its_reason() -> None:
    assert floors(TEXT) == []


def test_a_pin_and_a_floor_without_reason_are_told() -> None:
    text = """
[project]
dependencies = [
  "one>=1.0",  # makes ends meet
  "two==2.0",  # for old times
  "three>=3.0",
  "four>=4,<4.3",  # never later
]
[project.optional-dependencies]
dev = [
  "five",  # alive
]
"""
    told = [(line.split(":")[0], "reason" in line) for line in floors(text)]
    assert told == [("two==2.0", False), ("three>=3.0", True), ("four>=4,<4.3", False), ("five", False)]


def answering(monkeypatch: pytest.MonkeyPatch, *answers: Any) -> list[list[str]]:
    """An audit tool that gives these answers in turn; returns what it was asked about."""
    asked: list[list[str]] = []

    def run(command: list[str], **_: Any) -> subprocess.CompletedProcess[str]:
        asked.append(Path(command[command.index("-r") + 1]).read_text(encoding="utf-8").split())
        answer = answers[len(asked) - 1]
        words = (answer, "") if isinstance(answer, str) else ("", json.dumps({"dependencies": answer}))
        return subprocess.CompletedProcess(command, 1, words[1], words[0])

    monkeypatch.setattr(supply.subprocess, "run", run)
    return asked


FLAWED = [{"name": "pillow", "version": "9.0.0", "vulns": [{"id": "CVE-2022-22817"}]}]


def test_only_a_service_that_knows_an_old_flaw_can_call_anything_clean(monkeypatch: pytest.MonkeyPatch) -> None:
    one = {"name": "one", "version": "1", "vulns": []}
    asked = answering(monkeypatch, FLAWED, [one])
    found = audit(["one==1"])
    assert found.done and found.known == () and asked == [[OLD], ["one==1"]]
    answering(monkeypatch, FLAWED, [one, {"name": "two", "version": "2", "vulns": [{"id": "X-1"}, {"id": "X-2"}]}])
    assert audit(["one==1", "two==2"]).known == ("two 2: X-1, X-2",)


@pytest.mark.parametrize(
    ("answers", "says"),
    [
        (["No module named pip_audit"], "not installed"),
        (["ConnectionError: failed to resolve"], "does not answer: ConnectionError"),
        ([[{"name": "pillow", "skip_reason": "not found"}]], "cannot be relied on"),
        ([[{"name": "pillow", "version": "9.0.0", "vulns": []}]], "cannot be relied on"),
        ([FLAWED, [{"name": "one", "skip_reason": "not found"}]], "does not know one"),
        ([FLAWED, "timed out"], "does not answer"),
    ],
)
def test_what_could_not_be_asked_is_not_audited(answers: list[Any], says: str, monkeypatch: pytest.MonkeyPatch) -> None:
    answering(monkeypatch, *answers)
    found = audit(["one==1"])
    assert not found.done and says in found.says and found.known == ()


def test_not_audited_has_an_exit_status_of_its_own(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(supply, "floors", lambda text: [])
    for audited, status in (
        (supply.Audit(False, "no answer"), supply.NOT_AUDITED),
        (supply.Audit(True, "all clean"), 0),
        (supply.Audit(True, "some flaws", ("one 1: X-1",)), 1),
    ):
        monkeypatch.setattr(supply, "audit", lambda releases, audited=audited: audited)
        assert supply.main() == status
        told = capsys.readouterr().out
        assert ("NOT AUDITED: no answer" in told) is (status == supply.NOT_AUDITED)
        assert ("BROKEN  one 1: X-1" in told) is (status == 1)
