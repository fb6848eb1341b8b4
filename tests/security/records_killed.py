"""What the records promise when the program is killed, measured.

``python -m tests.security.records_killed [RUNS]``: writes, signs and amends in a process that ends
without a word at a step, before a statement, or in the midst of one, and looks at what is left.
"""

from __future__ import annotations

import random
import sys
import tempfile
from pathlib import Path

from app.records import Records
from model.spray.delta_t import delta_t
from tests.app.record_book import KILLED, killed_at, killer, nothing_lost, photo

SEED = 20261125


def killed_in_turn(runs: int) -> dict[str, int]:
    """Every step in turn, then statements and places within them by chance: ``runs`` kills, counted by kind.

    Raises AssertionError where something that was said to be done is lost, or the book is not sound.
    """
    delta_t(20, 60)  # imported before anything is forked
    random.seed(SEED)
    killed = {"between steps": 0, "before a statement": 0, "within a statement": 0}
    with tempfile.TemporaryDirectory() as name:
        top = Path(name)
        original = photo(top / "a.jpg")
        point, run = 0, 0
        while sum(killed.values()) < runs:
            kinds = list(killed)
            kind = kinds[0] if point >= 0 else kinds[1 + run % 2]
            place = point if point >= 0 else random.randrange(1, 150 if kind == kinds[1] else 700)

            def arm(records: Records, kind: str = kind, place: int = place) -> None:
                end = killer(place)
                if kind == "before a statement":
                    records._connection.set_trace_callback(end)
                elif kind == "within a statement":
                    records._connection.set_progress_handler(lambda: end("") or 0, 20)  # type: ignore[func-returns-value]

            step = killer(place) if kind == kinds[0] else lambda name: None
            folder, told = top / f"{run}", top / f"{run}.txt"
            ended = killed_at(folder, original, told, arm, step)
            nothing_lost(folder, told)
            killed[kind] += ended == KILLED
            point = point + 1 if point >= 0 and ended == KILLED else -1
            run += 1
    return killed


def main(runs: int) -> None:
    """Say what was found."""
    killed = killed_in_turn(runs)
    told_kinds = ", ".join(f"{count} {kind}" for kind, count in killed.items())
    print(f"{sum(killed.values())} kills ({told_kinds}): nothing half done, nothing that was said to be signed lost")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 500)
