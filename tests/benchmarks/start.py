"""From nothing to a name: the command line on one photo, beside the naive way; seconds and memory."""

from __future__ import annotations

import statistics
from dataclasses import dataclass
from pathlib import Path

from tests.benchmarks.stopwatch import peak_memory, program, table

COMMAND = "import sys; from app.command_line import main; main(['identify', sys.argv[1]])"


@dataclass(frozen=True)
class StartFigures:
    """Seconds from a cold start, and the most megabytes of all processes together."""

    ours: float
    naive: float
    ours_memory: float
    naive_memory: float

    def __str__(self) -> str:
        return table(
            ["from a cold start", "naive", "swardkey"],
            [
                ["seconds to a ranked answer, median", f"{self.naive:.1f}", f"{self.ours:.1f}"],
                ["peak memory, MB", f"{self.naive_memory:.0f}", f"{self.ours_memory:.0f}"],
            ],
        )


def start_figures(file: Path, home: Path, rounds: int) -> StartFigures:
    """Measure both in turn, after one start that fills the cache of parsed files in ``home``."""
    environment = {"SWARDKEY_HOME": str(home)}
    ours, naive = ("-c", COMMAND, str(file)), ("-m", "tests.benchmarks.naive", str(file))
    program(*ours, environment=environment)
    pairs = [(program(*ours, environment=environment), program(*naive)) for _ in range(rounds)]
    return StartFigures(
        statistics.median(pair[0] for pair in pairs),
        statistics.median(pair[1] for pair in pairs),
        peak_memory(*ours, environment=environment),
        peak_memory(*naive),
    )
