"""Points at which a program can be killed, or refused the disk: put in by the tests, none of them is in the product.

A point is a moment at which the process touches the disk below a folder: a file opened for writing, renamed, removed,
made or cut short (Python's audit events), before and after each fsync, before each statement of SQLite and, where it
is to be killed, within a long one. What was not yet forced to the disk may be lost by a power cut, so one more point
an fsync kills with half of that gone.

    with kill_points(folder) as points: ...                     counts and names them: points.passed
    with kill_points(folder, at=3): ...                         kills the process at the fourth
    with kill_points(folder, at="fsync log", action=refuse(ENOSPC)): ...     refuses the first of that name
"""

from __future__ import annotations

import os
import signal
import sqlite3
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

WITHIN = 400  # steps of SQLite's machine between two points within a statement
CHANGES = ("os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.truncate", "os.link")
SQL_WRITES = ("BEGIN", "SAVEPOINT", "INSERT", "UPDATE", "DELETE", "CREATE", "VACUUM", "COMMIT")
WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT
Action = Callable[[str], None]


def kill(name: str) -> None:
    """What a power cut does to a program."""
    os.kill(os.getpid(), signal.SIGKILL)


def refuse(number: int) -> Action:
    """A disk that refuses, as the system would say it."""

    def action(name: str) -> None:
        raise OSError(number, os.strerror(number), name)

    return action


class KillPoints:
    """The points that were passed, by name; ``action`` is done at one of them, or ``onwards``: from it on.

    ``at``: the number of the point from 0, or the beginning of its name; -1 for none. ``count`` is told of each.
    """

    def __init__(
        self, folder: Path, at: int | str = -1, action: Action = kill, onwards: bool = False,
        count: Callable[[int], None] = lambda passed: None,
    ) -> None:  # fmt: skip
        self.folder, self.at, self.action, self.onwards, self.count = str(folder), at, action, onwards, count
        self.passed: list[str] = []
        self._reached = False
        self._forced: dict[str, int] = {}  # bytes of a file that are on the disk for good

    def point(self, name: str, before: Callable[[], None] = lambda: None) -> None:
        """A moment has come; ``before`` is done before the action is."""
        number = len(self.passed)
        self.passed.append(name)
        self.count(number + 1)
        here = not self._reached and (number == self.at if isinstance(self.at, int) else name.startswith(self.at))
        self._reached = self._reached or here
        if here or (self.onwards and self._reached):
            before()
            self.action(name)

    def audit(self, event: str, given: tuple[Any, ...]) -> None:
        """What Python is about to do."""
        if event not in CHANGES and not (event == "open" and isinstance(given[2], int) and given[2] & WRITES):
            return
        path = os.fsdecode(given[0]) if isinstance(given[0], str | bytes | os.PathLike) else ""
        if not path.startswith(self.folder):
            return
        if event == "open":
            there = Path(path).exists() and not given[2] & os.O_TRUNC
            self._forced[path] = Path(path).stat().st_size if there else 0
        if event == "os.rename":
            path = os.fsdecode(given[1])
        self.point(f"{event.removeprefix('os.')} {self._short(path)}")

    def fsync(self, true: Callable[[int], None], handle: int) -> None:
        """Forces a file to the disk, with points before, within and after."""
        path = _path_of(handle)
        name = self._short(path)
        if self.action is kill and path in self._forced:
            self.point(f"half of {name}", lambda: self._lose_half(handle, path))
        self.point(f"fsync {name}")
        true(handle)
        if path in self._forced:
            self._forced[path] = os.fstat(handle).st_size
        if self.action is kill:
            self.point(f"on the disk {name}")

    def _lose_half(self, handle: int, path: str) -> None:
        size = os.fstat(handle).st_size
        forced = min(self._forced[path], size)
        os.ftruncate(handle, forced + (size - forced) // 2)

    def _short(self, path: str) -> str:
        return path.removeprefix(self.folder).lstrip("/") or "."


def _path_of(handle: int) -> str:
    """The path of an open file; "" where the system does not say."""
    try:
        return str(Path(f"/proc/self/fd/{handle}").readlink())
    except OSError:
        return ""


_active: list[KillPoints] = []  # an audit hook stays for ever, so there is one, for whichever points are there now


@contextmanager
def kill_points(folder: Path, at: int | str = -1, action: Action = kill, **more: Any) -> Iterator[KillPoints]:
    """Put points into everything that this process does below ``folder``, in all its threads."""
    points = KillPoints(folder, at, action, **more)
    fsync, connect = os.fsync, sqlite3.connect

    class Watched(sqlite3.Connection):
        """An exception in a callback is swallowed by SQLite, so a statement that writes is refused here."""

        def execute(self, sql: str, *values: Any) -> sqlite3.Cursor:
            if action is not kill and sql.startswith(SQL_WRITES):
                points.point(sql)
            return super().execute(sql, *values)

    def watched_connect(database: Any, *args: Any, **options: Any) -> sqlite3.Connection:
        if not str(database).startswith(points.folder):
            return connect(database, *args, **options)
        connection = connect(database, *args, factory=Watched, **options)
        if action is kill:
            connection.set_trace_callback(points.point)
            connection.set_progress_handler(lambda: points.point("within a statement"), WITHIN)
        return connection

    _watch_once()
    _active.append(points)
    os.fsync = lambda handle: points.fsync(fsync, handle)
    sqlite3.connect = watched_connect  # type: ignore[assignment]
    try:
        yield points
    finally:
        os.fsync, sqlite3.connect = fsync, connect
        _active.remove(points)


def _watch_once(watching: list[bool] = []) -> None:  # noqa: B006 - kept from call to call
    if not watching:
        watching.append(True)
        sys.addaudithook(lambda event, given: _active[-1].audit(event, given) if _active else None)


__all__ = ["Action", "KillPoints", "kill", "kill_points", "refuse"]
