"""A promotion in a process of its own, which is killed at one point: for tests of the registry.

``python -m tests.security.killed MODELS SOURCE POINT``: installs SOURCE and activates it, and kills
itself at that point, by number or name; -1 lets it finish and prints the points, one a line.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests.security.kill_points import kill_points
from training.registry.models import Registry

ROOT = Path(__file__).resolve().parents[2]


def promote_until(models: Path, source: Path, point: int | str) -> list[str]:
    """Promote, and die without a word at ``point``; the points that were passed."""
    with kill_points(models, point) as points:
        registry = Registry(models)
        registry.use(registry.install(source))
    return points.passed


def run(models: Path, source: Path, point: int | str) -> subprocess.CompletedProcess[str]:
    """The same in a new process."""
    command = [sys.executable, "-m", "tests.security.killed", str(models), str(source), str(point)]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)


if __name__ == "__main__":
    models, source, point = sys.argv[1:]
    given = int(point) if point.removeprefix("-").isdecimal() else point
    print("\n".join(promote_until(Path(models), Path(source), given)))
