"""How many small faults, put into the code on purpose, the tests notice: read from what mutmut has left.

mutmut run; python -m tests.claims.mutants    prints a table, and ends with 1 where a part is below its share.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from pathlib import Path

from rich.console import Console
from rich.table import Table

ROOT = Path(__file__).resolve().parents[2]
LEAST = 0.75
PARTS = {
    "identify": ("model/identify.py",),
    "questions": ("model/interview.py", "model/traits/question.py"),
    "promote": ("training/gate/",),
    "mix": ("model/mix/",),
}
# The exit status of pytest for a mutant, as mutmut keeps it.
NOTICED, SURVIVED = {1, 3, 24, 36, 152, 255, -24}, {0, 5, 33}  # failed, or took too long; passed, or no test at all


def counts(folder: Path) -> dict[str, Counter[str]]:
    """Mutants noticed, survived and not yet tried, by part, in what mutmut keeps under ``folder``."""
    found = {part: Counter[str]() for part in PARTS}
    for file in sorted(folder.rglob("*.py.meta")):
        path = file.relative_to(folder).as_posix()
        for part, starts in PARTS.items():
            if path.startswith(starts):
                statuses = json.loads(file.read_text(encoding="utf-8"))["exit_code_by_key"].values()
                found[part].update(
                    "noticed" if s in NOTICED else "survived" if s in SURVIVED else "untried" for s in statuses
                )
    return found


def main(folder: Path = ROOT / "mutants") -> int:
    """Print the shares. 0 where all parts were tried whole and have theirs."""
    table, kept = Table("part", "mutants", "noticed", "share"), True
    for part, found in counts(folder).items():
        tried = found["noticed"] + found["survived"]
        share = found["noticed"] / tried if tried else 0.0
        kept &= bool(tried) and share >= LEAST and not found["untried"]
        untried = f", {found['untried']} not tried" if found["untried"] else ""
        table.add_row(part, f"{tried}{untried}", str(found["noticed"]), f"{share:.1%}" if tried else "none tried")
    Console().print(table, f"each at least {LEAST:.0%}: {'kept' if kept else 'BROKEN'}")
    return 0 if kept else 1


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])) if len(sys.argv) > 1 else main())
