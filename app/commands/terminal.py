"""The terminal: tables, progress on standard error, and questions that need a person."""

from __future__ import annotations

import math
import shutil
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from textwrap import wrap

from model.errors import StoppedError

WHOLE = 100_000  # columns of what is not a terminal
PAUSE = 30.0  # seconds between lines of progress where nobody watches a bar


def print_table(columns: Sequence[str], rows: Iterable[Sequence[str]], numbers: Sequence[str] = ()) -> None:
    """Print a plain table; nothing in it is taken for markup. ``numbers`` are the columns to align on the right."""
    # Imported here and below, since few commands need it and all start with this module.
    from rich.console import Console

    from app.present.columns import print_columns

    figures = [number for number, column in enumerate(columns) if column in numbers]
    print_columns(Console(highlight=False), columns, list(rows), figures)


def say(*lines: str) -> None:
    """Print lines, wrapped at blanks to the width of the terminal with the rest indented; whole where none watches."""
    width = shutil.get_terminal_size((WHOLE, 0)).columns
    for line in lines:
        indent = " " * (len(line) - len(line.lstrip()) + 3)
        wrapped = wrap(line, width, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
        sys.stdout.write("".join(f"{one}\n" for one in wrapped or [""]))


def print_lines(*lines: str, style: str = "") -> None:
    """Print lines, wrapped at words to the width of the terminal, without markup."""
    from rich.console import Console

    console = Console(highlight=False)
    for line in lines:
        console.print(line, style=style, markup=False)


def is_interactive() -> bool:
    """Whether a person sits at the terminal who can be asked."""
    return sys.stdin is not None and sys.stdin.isatty()


@contextmanager
def on_interrupt(words: str) -> Iterator[None]:
    """Work that Ctrl-C may stop: ``words`` then say what was kept and how to go on, after "stopped; "."""
    try:
        yield
    except KeyboardInterrupt:
        raise StoppedError(words) from None


@contextmanager
def progress_bar(doing: str, total: int | None, quiet: bool = False) -> Iterator[Callable[[int], None]]:
    """A progress bar where a person watches; give it the number done so far."""
    with progress_of_stages(quiet) as show:
        yield lambda done: show(doing, done, total)


@contextmanager
def progress_of_stages(quiet: bool, log: bool = False) -> Iterator[Callable[[str, int, int | None], None]]:
    """Progress of work in stages where a person watches; elsewhere, with ``log``, a line now and then."""
    if quiet or not sys.stderr.isatty():
        yield _LogLines() if log and not quiet else lambda stage, done, of: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TaskID, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    tasks: dict[str, TaskID] = {}
    with Progress(*columns, console=Console(stderr=True)) as progress:

        def show(stage: str, done: int, of: int | None) -> None:
            if stage not in tasks:
                tasks[stage] = progress.add_task(stage, total=of)
            progress.update(tasks[stage], completed=done, total=of)

        yield show


class _LogLines:
    """A line at the start of a stage, and one every half minute with the time left."""

    def __init__(self) -> None:
        self.stage, self.began, self.last, self.first = "", 0.0, 0.0, 0

    def __call__(self, stage: str, done: int, of: int | None) -> None:
        now = time.monotonic()
        if stage != self.stage:
            self.stage, self.began, self.last, self.first = stage, now, now, done
            sys.stderr.write(f"{stage}: {of}\n" if of is not None and of > 1 else f"{stage}\n")
        elif now - self.last >= PAUSE and done > self.first and of is not None:
            left = (now - self.began) * (of - done) / (done - self.first)
            sys.stderr.write(f"{stage}: {done} of {of}, {_time_left(left)} left\n")
            self.last = now


def _time_left(seconds: float) -> str:
    """Time that is left, in words.

    >>> _time_left(40), _time_left(150)
    ('40 seconds', '3 minutes')
    """
    return f"{seconds:.0f} seconds" if seconds < 90 else f"{math.ceil(seconds / 60)} minutes"
