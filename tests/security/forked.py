"""A program in a fork with a home of its own, killed or refused the disk at one of its points, and how it ended."""

from __future__ import annotations

import importlib
import json
import mmap
import os
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import pytest
from filelock import FileLock

from model.errors import SwardkeyError
from tests.security.kill_points import Action, kill, kill_points

PROGRAM = Path(__file__).resolve()


@dataclass(frozen=True)
class Ended:
    """How a program ended: its exit status, minus the number of the signal that killed it; points that it passed."""

    status: int
    points: int
    out: str
    err: str
    seconds: float

    @property
    def killed(self) -> bool:
        """Whether it was killed before it had ended."""
        return self.status == -signal.SIGKILL

    @property
    def in_a_sentence(self) -> bool:
        """Whether it was done, or said in one sentence why not."""
        said = self.err.strip()
        one = said.startswith(("swardkey: ", '{"error": ')) and said.count("\n") == 0
        return self.status == 0 or (self.status == 2 and one)

    @property
    def tracebacks(self) -> int:
        """Faults of ours that it ran into."""
        return "Traceback" in self.err or "fault of the program" in self.err or self.status in (1, 3)

    def fault(self, home: Path) -> str:
        """Where a fault of ours was, as the tool noted it down."""
        files = sorted(home.glob("faults/*.txt")) if self.tracebacks else []
        return f"\n{files[-1].read_text()[-1500:]}" if files else ""


class Program:
    """Work in a fork with ``home`` as the user's folder, and the action at point ``at``; ``before`` is done first."""

    def __init__(
        self,
        home: Path,
        work: Callable[[], None],
        at: int | str = -1,
        action: Action = kill,
        onwards: bool = False,
        before: Callable[[], None] = lambda: None,
    ) -> None:
        # What is still to be written by this process would be written by the fork too.
        sys.stdout.flush()
        sys.stderr.flush()
        self._count = mmap.mmap(-1, 8)
        self._outputs = tempfile.TemporaryFile(), tempfile.TemporaryFile()  # noqa: SIM115 - end() closes them
        self._began = time.monotonic()
        self.process = os.fork()
        if not self.process:

            def count(passed: int) -> None:
                self._count[:8] = passed.to_bytes(8, "little")

            def watched() -> None:
                with kill_points(home, at, action, onwards=onwards, count=count):
                    work()

            _in_the_fork(home, watched, [output.fileno() for output in self._outputs], before)

    def kill(self) -> None:
        """Kill it from outside, wherever it is."""
        os.kill(self.process, signal.SIGKILL)

    def end(self) -> Ended:
        """Wait for its end."""
        status = os.waitstatus_to_exitcode(os.waitpid(self.process, 0)[1])
        out, err = (_whole(output) for output in self._outputs)
        points = int.from_bytes(self._count[:8], "little")
        return Ended(status, points, out, err, time.monotonic() - self._began)


def run(home: Path, work: Callable[[], None], killed_after: float | None = None, **options: Any) -> Ended:
    """Run a program to its end, or kill it from outside after some seconds."""
    program = Program(home, work, **options)
    if killed_after is not None:
        time.sleep(killed_after)
        program.kill()
    return program.end()


def prepared(home: Path, prepare: Callable[[Path], None]) -> Path:
    """A new home that another program has filled."""
    home.mkdir(parents=True)
    ended = run(home, lambda: prepare(home))
    assert ended.status == 0, ended.err
    return home


def killed_over(fresh: Callable[[], Path], work: Callable[[], None], runs: int) -> Iterator[tuple[Path, Ended]]:
    """A fresh home after the undisturbed work, then as many after it was killed at points spread over the work."""
    home = fresh()
    whole = run(home, work)
    assert whole.status == 0, whole.err
    yield home, whole
    for number in range(runs):
        home = fresh()
        ended = run(home, work, at=whole.points * (2 * number + 1) // (2 * runs))
        assert ended.killed, ended.err
        yield home, ended


def _whole(output: IO[bytes]) -> str:
    with output:
        output.seek(0)
        return output.read().decode(errors="replace")


def warm_up(*more: str) -> None:
    """Import beforehand what every fork would import, and ``more``; nothing here starts a thread."""

    from app.command_line import COMMANDS, command_named

    for name in COMMANDS:
        command_named(name)
    for name in ("app.services.knowledge", "training.collection", "model.spray.delta_t", *more):
        importlib.import_module(name)


def _in_the_fork(home: Path, work: Callable[[], None], handles: list[int], before: Callable[[], None]) -> None:
    status = 3
    try:
        for number, handle in enumerate(handles, start=1):
            os.dup2(handle, number)
        sys.stdout = os.fdopen(1, "w", encoding="utf-8", buffering=1)
        sys.stderr = os.fdopen(2, "w", encoding="utf-8", buffering=1)
        os.environ["SWARDKEY_HOME"] = str(home)
        os.chdir(home)
        before()
        work()
        status = 0
    except SystemExit as ended:
        status = ended.code if isinstance(ended.code, int) else 0
    except SwardkeyError as error:
        sys.stderr.write(f"swardkey: {error}\n")
        status = 2
    except BaseException:
        import traceback

        sys.stderr.write(traceback.format_exc())
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        _end_decoders()
        os._exit(status)


def _end_decoders() -> None:
    from model.photo.sandbox import the_sandbox

    the_sandbox().close()


def commands(*lines: list[str]) -> Callable[[], None]:
    """Work that runs commands of the tool one after another, and ends with the first that does not succeed."""

    def work() -> None:
        from app.command_line import main

        for line in lines:
            try:
                main(line)
            except SystemExit as ended:
                if ended.code:
                    raise

    return work


def ask(home: Path, question: Callable[[Path], Any]) -> Any:
    """The answer, as plain data, that a new program finds; raises AssertionError with its errors."""

    def work() -> None:
        sys.stdout.write(json.dumps(question(home)))

    ended = run(home, work)
    assert ended.status == 0, ended.err
    return json.loads(ended.out)


def as_a_stranger(tmp_path: Path, home: Path, elsewhere: Path, work: Callable[[], None]) -> Ended:
    """Work done by somebody who may read in ``home`` and write only ``elsewhere``."""
    if os.geteuid() == 0 and not all(folder.stat().st_mode & 1 for folder in PROGRAM.parents):
        pytest.skip("what a stranger meets goes unseen where others may not read the program's folder")
    elsewhere.mkdir()
    for path in (home, *home.rglob("*")):
        path.chmod(0o555 if path.is_dir() else 0o444)
    elsewhere.chmod(0o777)

    def become_nobody() -> None:
        tempfile.tempdir = str(elsewhere)  # that of whoever runs the tests may be shut to others
        if os.geteuid() == 0:
            os.setuid(65534)

    # Other tests that run beside this one have some folders above in common with it.
    with FileLock(Path(tempfile.gettempdir()) / f"swardkey-strangers-{os.geteuid()}.lock"):
        above = (tmp_path, *tmp_path.parents)
        tops = [p for p in above if p.stat().st_uid == os.geteuid() and not p.stat().st_mode & 1]
        modes = [p.stat().st_mode for p in tops]
        try:
            for top in tops:
                top.chmod(0o755)
            return run(home, work, before=become_nobody)
        finally:
            for top, mode in zip(tops, modes, strict=True):
                top.chmod(mode)
            for path in (home, *home.rglob("*")):
                path.chmod(0o755 if path.is_dir() else 0o644)


__all__ = ["Ended", "Program", "as_a_stranger", "ask", "commands", "killed_over", "prepared", "run", "warm_up"]
