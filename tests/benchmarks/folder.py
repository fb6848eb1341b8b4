"""A folder of phone photos by one process and by two: photos a second, and whether memory stays flat."""

from __future__ import annotations

import os
import resource
import statistics
import time
from dataclasses import dataclass
from pathlib import Path

from app.services.batch import name_all
from tests.benchmarks.stopwatch import Watch, table


@dataclass(frozen=True)
class FolderFigures:
    """One run. ``early`` and ``late``: megabytes of all processes in the second and the last but one of five parts."""

    photos: int
    workers: int
    photos_a_second: float
    computing: float
    early: float
    late: float


def folder_figures(photos: list[Path], workers: int) -> FolderFigures:
    """Name all photos; the clock starts with the first row, when all processes are ready."""
    before = _computed()
    with Watch(os.getpid(), itself=False) as watch:
        rows = name_all([photo.name for photo in photos], workers, photos[0].parent, "starter", None, None)
        next(rows)
        start, looks = time.perf_counter(), len(watch.seen)
        done = sum(1 for _ in rows)
        seconds = time.perf_counter() - start
        seen = watch.seen[looks:]
    fifth = max(1, len(seen) // 5)
    early, late = (
        statistics.median(seen[fifth : 2 * fifth] or seen),
        statistics.median(seen[-2 * fifth : -fifth] or seen),
    )
    return FolderFigures(done + 1, workers, done / seconds, (_computed() - before) / (done + 1), early, late)


def _computed() -> float:
    """Seconds of computing by processes that have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def told(runs: list[FolderFigures]) -> str:
    """The runs as a table."""
    rows = [
        [
            str(run.workers),
            str(run.photos),
            f"{run.photos_a_second:.2f}",
            f"{run.photos_a_second / runs[0].photos_a_second:.2f}",
            f"{run.computing:.2f}",
            f"{run.early:.0f}",
            f"{run.late:.0f}",
        ]
        for run in runs
    ]
    head = ["processes", "photos", "photos a second", "times as fast", "s of computing a photo", "MB early", "MB late"]
    return table(head, rows)
