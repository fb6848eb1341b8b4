"""Medians taken in turn, so that a busy machine is busy for all of them alike; memory; tables."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAUSE = 0.02  # seconds between two looks at the memory
Way = Callable[[], object]


def medians(ways: Mapping[str, Way], rounds: int) -> dict[str, float]:
    """Median milliseconds of each way; one round of warming up, then each way once a round."""
    taken: dict[str, list[float]] = {name: [] for name in ways}
    for round_ in range(rounds + 1):
        for name, way in ways.items():
            start = time.perf_counter()
            way()
            if round_:
                taken[name].append((time.perf_counter() - start) * 1000)
    return {name: statistics.median(times) for name, times in taken.items()}


def load() -> str:
    """How busy the machine is, which says what the figures are worth."""
    return (
        f"load {os.getloadavg()[0]:.1f} on {processors()} processors" if hasattr(os, "getloadavg") else "load unknown"
    )


def processors() -> int:
    """Processors that may be used here."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def program(*arguments: str, environment: Mapping[str, str] | None = None) -> float:
    """Seconds that a Python program of this checkout takes from nothing, its output thrown away."""
    start = time.perf_counter()
    process = _started(arguments, environment)
    _, told = process.communicate()
    if process.returncode:
        raise RuntimeError(f"{arguments}: {told.decode()}")
    return time.perf_counter() - start


def peak_memory(*arguments: str, environment: Mapping[str, str] | None = None) -> float:
    """Most megabytes that a program and the processes it starts hold together. Linux only."""
    process = _started(arguments, environment)
    with Watch(process.pid) as watch:
        process.communicate()
    return watch.most


def _started(arguments: Sequence[str], environment: Mapping[str, str] | None) -> subprocess.Popen[bytes]:
    given = {**os.environ, "PYTHONPATH": str(ROOT), **(environment or {})}
    command = [sys.executable, *arguments]
    return subprocess.Popen(command, cwd=ROOT, env=given, stdout=subprocess.PIPE, stderr=subprocess.PIPE)


class Watch:
    """Looks at the memory of a process and all below it, again and again, while a block runs."""

    def __init__(self, process: int, itself: bool = True) -> None:
        self.most, self.seen = 0.0, [0.0]
        self._process, self._itself = process, itself
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._look, daemon=True)

    def _look(self) -> None:
        while not self._end.wait(PAUSE):
            self.seen.append(memory_below(self._process, self._itself))
            self.most = max(self.most, self.seen[-1])

    def __enter__(self) -> Watch:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._end.set()
        self._thread.join()


def memory_below(process: int, itself: bool = True) -> float:
    """Megabytes held by a process and all that it started; shared pages count for each."""
    parents, held = {}, {}
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            fields = (folder / "stat").read_text().rpartition(")")[2].split()
        except OSError:  # it has ended meanwhile
            continue
        parents[int(folder.name)], held[int(folder.name)] = int(fields[1]), int(fields[21])
    family = {process}
    while more := {p for p, parent in parents.items() if parent in family and p not in family}:
        family |= more
    pages = sum(held.get(p, 0) for p in family if itself or p != process)
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A table as it stands in the README."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)
