"""All figures of speed and size in one run, as they stand in the README.

    python -m tests.benchmarks.speed [--quick] [--out FOLDER] [--only photo,start,...]

Each part prints how busy the machine was; medians on a busy machine are worth less. ``--out`` is the folder for the
plot of growth.
"""

from __future__ import annotations

import argparse
import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tests.benchmarks.stopwatch import load, processors

# The parts are imported when they run: worker processes import this module first.


@dataclass(frozen=True)
class Plan:
    """What is measured, where, and how often."""

    folder: Path
    rounds: int
    starts: int
    photos: int
    counts: tuple[int, ...]
    out: Path | None

    @property
    def photo(self) -> Path:
        """One phone photo, drawn when it is first asked for."""
        from tests.benchmarks.phone import phone_photo

        file = self.folder / "phone.jpg"
        return file if file.exists() else phone_photo(file)


def photo(plan: Plan) -> str:
    """One photo by one thread, and by as many as there are processors."""
    from tests.benchmarks.photo import photo_figures

    printed = []
    for threads in dict.fromkeys((1, processors())):
        figures = photo_figures(plan.photo, plan.rounds, threads)
        printed.append(f"By {threads} thread{'s' * (threads > 1)} ({load()}):\n\n{figures}")
    return "\n\n".join(printed)


def start(plan: Plan) -> str:
    """A cold start of the command line."""
    from tests.benchmarks.start import start_figures

    return str(start_figures(plan.photo, plan.folder / "home", plan.starts))


def folder(plan: Plan) -> str:
    """A folder by one process and by two."""
    from tests.benchmarks.folder import folder_figures, told
    from tests.benchmarks.phone import phone_photos

    photos = phone_photos(plan.folder / "photos", plan.photos)
    os.environ["SWARDKEY_HOME"] = str(plan.folder / "home")
    return told([folder_figures(photos, workers) for workers in (1, 2)])


def growth(plan: Plan) -> str:
    """More and more species."""
    from tests.benchmarks.growth import draw_growth, growth_figures

    figures = growth_figures(plan.rounds, plan.counts)
    if plan.out is not None:
        plan.out.mkdir(parents=True, exist_ok=True)
        draw_growth(figures, plan.out / "growth.svg")
    return str(figures)


def size(plan: Plan) -> str:
    """What is on the disk."""
    from tests.benchmarks.size import size_figures

    return str(size_figures(plan.photo))


PARTS: dict[str, Callable[[Plan], str]] = {
    "photo": photo,
    "start": start,
    "folder": folder,
    "growth": growth,
    "size": size,
}


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.speed")
    parser.add_argument("--quick", action="store_true", help="fewer rounds, fewer photos: a minute or two")
    parser.add_argument("--out", type=Path, help="folder for the plot")
    parser.add_argument("--only", default=",".join(PARTS), help="some of " + ",".join(PARTS))
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        how_much = (3, 3, 12, (60, 600)) if given.quick else (7, 5, 1000, (60, 600, 6000))
        plan = Plan(Path(made), *how_much, out=given.out)
        for part in given.only.split(","):
            print(f"{PARTS[part](plan)}\n\n({part}: {load()})\n", flush=True)


if __name__ == "__main__":
    main()
