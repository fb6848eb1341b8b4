"""What others may send: model folders, zips, tables, YAML, archives with addresses.

``python -m tests.security.hostile_files [COUNT]`` tries all of them, with COUNT generated zips (2000), and
prints a table. Each must end in a result or in one sentence; nothing may be written outside of the
user's folder, no program run, nothing connected to that was not allowed, no memory or time without end.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
import warnings
from collections.abc import Iterator
from pathlib import Path

from tests.security import hostile_addresses, hostile_archives, hostile_models, hostile_tables
from tests.security.hostile_watch import Met, Try, Watch, broken, meet, table

CUTS = 200  # places at which the files of a model are cut short


def all_tries(box: Path, watch: Watch, zips: int, cuts: int = CUTS) -> Iterator[Try]:
    """Everything; fewer than CUTS also leaves out the largest files."""
    yield from hostile_models.tries(box / "m", cuts)
    yield from hostile_archives.tries(box / "z", zips)
    yield from hostile_tables.tries(box / "t", cuts)
    yield from hostile_addresses.tries(box / "n", cuts, watch)


def run(box: Path, zips: int, cuts: int = CUTS, every: int = 1) -> list[Met]:
    """Try everything, or one of ``every`` so many."""
    for part in "mztn":
        (box / part).mkdir()
    watch = Watch((box,))
    return [
        meet(one, watch, box) for number, one in enumerate(all_tries(box, watch, zips, cuts)) if number % every == 0
    ]


def main() -> None:
    """The whole run."""
    warnings.simplefilter("ignore")
    zips = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    start = time.perf_counter()
    with tempfile.TemporaryDirectory() as name:
        box = Path(name).resolve()
        os.environ["SWARDKEY_HOME"] = str(box / "nobody")
        met = run(box, zips)
    print(table(met))
    print(f"{len(met)} tried in {time.perf_counter() - start:.0f} s")
    wrong = broken(met)
    for one in wrong:
        print("BROKEN", one)
    raise SystemExit(bool(wrong))


if __name__ == "__main__":
    main()
