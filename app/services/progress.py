"""How far long work has come, for a person who waits."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.progress import TaskID


@contextmanager
def bar(doing: str, total: int | None, quiet: bool) -> Iterator[Callable[[int], None]]:
    """A progress bar on standard error, where a person looks at it."""
    if quiet or not sys.stderr.isatty():
        yield lambda done: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn(doing), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True)) as progress:
        task = progress.add_task(doing, total=total)
        yield lambda done: progress.update(task, completed=done)


@contextmanager
def stages(quiet: bool) -> Iterator[Callable[[str, int, int], None]]:
    """Progress of work in several stages; without a terminal, a line now and then for a log."""
    if quiet or not sys.stderr.isatty():
        yield (lambda stage, done, of: None) if quiet else _Lines()
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    tasks: dict[str, TaskID] = {}
    with Progress(*columns, console=Console(stderr=True)) as progress:

        def show(stage: str, done: int, of: int) -> None:
            if stage not in tasks:
                tasks[stage] = progress.add_task(stage, total=of)
            progress.update(tasks[stage], completed=done, total=of)

        yield show


class _Lines:
    """A line at the start of a stage, and one a minute with the time that is left."""

    def __init__(self) -> None:
        self.stage, self.began, self.said, self.first = "", 0.0, 0.0, 0

    def __call__(self, stage: str, done: int, of: int) -> None:
        now = time.monotonic()
        if stage != self.stage:
            self.stage, self.began, self.said, self.first = stage, now, now, done
            sys.stderr.write(f"{stage}: {of}\n")
        elif now - self.said >= 60 and done > self.first:
            left = (now - self.began) * (of - done) / (done - self.first)
            sys.stderr.write(f"{stage}: {done} of {of}, {left / 60:.0f} minutes left\n")
            self.said = now
