"""How far long work has come, for a person who waits."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


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
