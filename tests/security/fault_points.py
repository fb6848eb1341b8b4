"""A program in a fork that is killed, or refused the disk, at the N-th point at which it touches the disk.

The points: a file of the user's folder opened for writing, renamed, removed, made or cut short
(Python's audit events), each fsync before and after, each step of model.storage (half a file
written, for one), each statement of SQLite and places within it.
"""

from __future__ import annotations

import json
import mmap
import os
import signal
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from model import storage
from model.errors import SwardkeyError

WITHIN = 400  # steps of SQLite's machine between two points within a statement
CHANGES = ("os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.truncate", "os.link")
NOTHING_WRITTEN = ("after commit", "migration done")  # steps after which no disk can refuse any more
Deed = Callable[[str], None]


@dataclass(frozen=True)
class Ended:
    """How a program ended: its exit status, minus the number of the signal that killed it; points that it passed."""

    status: int
    points: int
    told: str
    complained: str
    seconds: float

    @property
    def killed(self) -> bool:
        """Whether it was killed before it had ended."""
        return self.status == -signal.SIGKILL

    @property
    def in_a_sentence(self) -> bool:
        """Whether it was done, or said in one sentence why not."""
        said = self.complained.strip()
        one = said.startswith("swardkey: ") and said.count("\n") == 0
        return self.status == 0 or (self.status == 2 and one)

    @property
    def tracebacks(self) -> int:
        """Faults of ours that it ran into."""
        return "Traceback" in self.complained or "fault of the program" in self.complained or self.status in (1, 3)

    def fault(self, home: Path) -> str:
        """Where a fault of ours was, as the tool noted it down."""
        files = sorted(home.glob("faults/*.txt")) if self.tracebacks else []
        return f"\n{files[-1].read_text()[-1500:]}" if files else ""


def kill(name: str) -> None:
    """What a power cut does to a program."""
    os.kill(os.getpid(), signal.SIGKILL)


def refuse(number: int) -> Deed:
    """A disk that refuses, as the system would say it."""

    def deed(name: str) -> None:
        raise OSError(number, os.strerror(number), name)

    return deed


class _Points:
    """Counts the points of this process from 0, and does the deed at one of them, or from it on."""

    def __init__(self, home: Path, at: int, deed: Deed, onwards: bool, count: mmap.mmap) -> None:
        self.home, self.at, self.deed, self.onwards, self.count = str(home), at, deed, onwards, count
        self.passed = 0

    def point(self, name: str) -> None:
        passed = self.passed
        self.passed += 1
        self.count[:8] = self.passed.to_bytes(8, "little")
        if self.deed is not kill and name in NOTHING_WRITTEN:
            return
        if passed == self.at or (self.onwards and 0 <= self.at < passed):
            self.deed(name)

    def audit(self, event: str, told: tuple[Any, ...]) -> None:
        writes = event == "open" and isinstance(told[2], int) and told[2] & (os.O_WRONLY | os.O_RDWR | os.O_CREAT)
        if (writes or event in CHANGES) and str(told[0]).startswith(self.home):
            self.point(str(told[0]))


_points: _Points | None = None


def _reached(point: str) -> None:
    """Takes the place of model.storage.go_on, wherever that was given as the ordinary step."""
    from tests.security.fault_points import _points

    if _points is not None:
        _points.point(point)


def _arm(points: _Points) -> None:
    global _points
    _points = points
    storage.go_on.__code__ = _reached.__code__.replace(co_name="go_on")
    fsync, connect = os.fsync, sqlite3.connect

    def told_fsync(handle: int) -> None:
        points.point("before fsync")
        fsync(handle)
        points.point("after fsync")

    def told_connect(database: Any, *args: Any, **options: Any) -> sqlite3.Connection:
        connection: sqlite3.Connection = connect(database, *args, **options)
        # An exception in these is swallowed by SQLite: they can kill, but not refuse.
        if str(database).startswith(points.home) and points.deed is kill:
            connection.set_trace_callback(points.point)
            connection.set_progress_handler(lambda: points.point("within a statement"), WITHIN)
        return connection

    os.fsync = told_fsync
    sqlite3.connect = told_connect  # type: ignore[assignment]
    sys.addaudithook(points.audit)


class Program:
    """Work in a fork with ``home`` as the user's folder, and the deed at point ``at``; ``before`` is done first."""

    def __init__(
        self,
        home: Path,
        work: Callable[[], None],
        at: int = -1,
        deed: Deed = kill,
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
            points = _Points(home, at, deed, onwards, self._count)
            _in_the_fork(home, work, points, [output.fileno() for output in self._outputs], before)

    def kill(self) -> None:
        """Kill it from outside, wherever it is."""
        os.kill(self.process, signal.SIGKILL)

    def end(self) -> Ended:
        """Wait for its end."""
        status = os.waitstatus_to_exitcode(os.waitpid(self.process, 0)[1])
        told, complained = (_whole(output) for output in self._outputs)
        points = int.from_bytes(self._count[:8], "little")
        return Ended(status, points, told, complained, time.monotonic() - self._began)


def run(home: Path, work: Callable[[], None], killed_after: float | None = None, **options: Any) -> Ended:
    """Run a program to its end, or kill it from outside after some seconds."""
    program = Program(home, work, **options)
    if killed_after is not None:
        time.sleep(killed_after)
        program.kill()
    return program.end()


def _whole(output: IO[bytes]) -> str:
    with output:
        output.seek(0)
        return output.read().decode(errors="replace")


def warm_up(*more: str) -> None:
    """Import beforehand what every fork would import, and ``more``; nothing here starts a thread."""
    import importlib

    from app.command_line import COMMANDS, command_named

    for name in COMMANDS:
        command_named(name)
    for name in ("app.services.knowledge", "training.collection", "model.spray.delta_t", *more):
        importlib.import_module(name)


def _in_the_fork(
    home: Path, work: Callable[[], None], points: _Points, handles: list[int], before: Callable[[], None]
) -> None:
    status = 3
    try:
        for number, handle in enumerate(handles, start=1):
            os.dup2(handle, number)
        sys.stdout = os.fdopen(1, "w", encoding="utf-8", buffering=1)
        sys.stderr = os.fdopen(2, "w", encoding="utf-8", buffering=1)
        os.environ["SWARDKEY_HOME"] = str(home)
        os.chdir(home)
        before()
        _arm(points)
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
    from model.photo.sandbox import the_door

    the_door().close()


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
    """The answer, as plain data, that a new program finds; raises AssertionError with what it complained of."""

    def work() -> None:
        sys.stdout.write(json.dumps(question(home)))

    ended = run(home, work)
    assert ended.status == 0, ended.complained
    return json.loads(ended.told)


__all__ = ["Ended", "Program", "ask", "commands", "kill", "refuse", "run", "warm_up"]
