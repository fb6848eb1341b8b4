"""Commands run in the process of the tests, where the files of facts are checked already."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import pytest

from app.command_line import main
from app.services.knowledge import ParsedFiles
from model import control as control_package
from model import flora as flora_package
from model.control import Control
from model.flora import load as flora_load
from model.identify import Key
from model.traits import load_observer


@pytest.fixture(autouse=True, scope="module")
def _facts_are_loaded_once(key: Key, control: Control) -> Iterator[None]:
    """What a command loads of configs/ is what the session has loaded; anything else is loaded as ever.

    tests/app/test_key.py tests the loading, and programs that tests start load for themselves.
    """
    usual, load_flora, load_control = load_observer(), flora_load.load_flora, control_package.load_control

    def flora(*told: Any, **more: Any) -> Any:
        own_files = not told and set(more) == {"read"} and isinstance(more["read"], ParsedFiles)
        return key.flora if own_files else load_flora(*told, **more)

    def advice(known: Any, *told: Any, **more: Any) -> Any:
        return control if known is key.flora and not told else load_control(known, *told, **more)

    def whole(*told: Any, **more: Any) -> Key:
        as_shipped = not told and not more.get("own") and more.get("observer") == usual
        return key if as_shipped else Key(*told, **more)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("model.identify.Key", whole)
        patch.setattr(flora_load, "load_flora", flora)
        patch.setattr(flora_package, "load_flora", flora)
        patch.setattr(control_package, "load_control", advice)
        yield


@dataclass(frozen=True)
class Ended:
    """How a command ended: its exit status, standard output and standard error."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> dict[str, Any]:
        """The one object on standard output of a command that worked."""
        assert self.status == 0, self.err
        return dict(json.loads(self.out))

    @property
    def refusal(self) -> str:
        """The one sentence on standard error for bad input, also out of JSON; nothing is on standard output."""
        assert (self.status, self.out) == (2, ""), self.out
        if self.err.startswith("{"):
            found = json.loads(self.err)
            assert found["status"] == 2 and "\n" not in found["error"]
            return f"swardkey: {found['error']}\n"
        assert self.err.startswith("swardkey: ") and self.err.count("\n") == 1 and "Traceback" not in self.err
        return self.err


Run = Callable[..., Ended]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs a command as the console script does; ``stdin`` is what is typed."""
    monkeypatch.setenv("COLUMNS", "1000")  # whole lines, however long the paths are in which the tests run

    def command(*arguments: object, stdin: str = "") -> Ended:
        capsys.readouterr()
        monkeypatch.setattr("sys.stdin", io.StringIO(stdin))
        with pytest.raises(SystemExit) as ended:
            main([str(argument) for argument in arguments])
        said = capsys.readouterr()
        return Ended(int(ended.value.code or 0), said.out, said.err)

    return command
