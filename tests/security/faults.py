"""What the tool promises whatever happens to it while it writes, measured: kills first, then other faults.

``python -m tests.security.faults [COUNT]``: about COUNT kills (500) over all that is kept; then a full
disk, a folder that cannot be written to, a database that is locked, a clock that was set back, and
two programs at once. One line a store and fault; exit status 1 where a promise is broken.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from tests.security import fault_disk as disk
from tests.security import fault_together as together
from tests.security.fault_bench import HEAD, Bench, Tally
from tests.security.fault_stores import STORES, Store
from tests.security.forked import run, warm_up

# How the kills are shared out: those that take long get fewer.
WEIGHTS = {"features kept": 0.4, "backup": 1.2, "restore": 1.4}


def kill_at_points(bench: Bench, runs: int) -> Tally:
    """Kill it at points spread over the work, every fifth time at a moment of its time."""
    tally = Tally(bench.store.name, "killed")
    for number in range(runs):
        home = bench.fresh()
        if number % 5 == 4:
            moment = bench.seconds * (number + 0.5) / runs
            ended, where = run(home, bench.store.work, killed_after=moment), f"after {moment:.3f} s"
        else:
            point = bench.points * (2 * number + 1) // (2 * runs)
            ended, where = run(home, bench.store.work, at=point), f"point {point} of {bench.points}"
        bench.look(tally, ended, where)
    return tally


def share_out(count: int, stores: tuple[Store, ...] = STORES) -> dict[str, int]:
    """How many runs each store gets, at least one."""
    weights = {store.name: WEIGHTS.get(store.name, 1.0) for store in stores}
    return {name: max(1, round(count * weight / sum(weights.values()))) for name, weight in weights.items()}


def others(bench: Bench, mounts: bool, count: int) -> list[Tally]:
    """A disk that is full or cannot be written to, and a file that another program holds."""
    runs = max(2, count // 60)
    slow = bench.store.name == "features kept"
    found = [disk.refused_at_points(bench, disk.FULL, "no space from a point on", 2 if slow else runs)]
    if mounts:
        found += [disk.full_disk(bench, 2 if slow else max(3, runs // 2)), disk.read_only(bench)]
    else:
        found.append(disk.refused_at_points(bench, disk.READ_ONLY, "read-only from a point on", 2))
    if not slow:
        found.append(disk.held_by_another(bench))
    return found


def main(arguments: list[str]) -> int:
    """Print the table; 1 where a promise is broken."""
    count = int(arguments[0]) if arguments else 500
    only = arguments[1] if len(arguments) > 1 else ""
    warm_up("onnxruntime")
    mounts = disk.own_mounts()
    if not mounts:
        print("(no disk can be mounted here: full and read-only disks are played by refusing the program's calls)")
    tallies: list[Tally] = []
    print(" | ".join(HEAD))

    def tell(found: list[Tally]) -> None:
        tallies.extend(found)
        for tally in found:
            print(" | ".join(tally.cells()), flush=True)
            for line in tally.broken[:3]:
                print("    BROKEN", line, flush=True)

    with tempfile.TemporaryDirectory(prefix="faults-") as name:
        top = Path(name)
        for place, store in enumerate(STORES):
            if only in store.name:
                bench = Bench(store, top / str(place))
                tell([kill_at_points(bench, share_out(count)[store.name])])
                tell(others(bench, mounts, count))
                shutil.rmtree(bench.top)
        for story in (*together.AT_ONCE, *together.CLOCKS):
            if only in story.__name__:
                tell([story(top / story.__name__)])
        if not only or only == "reading":
            tell([disk.reading_goes_on(top / "reading")])
            if mounts:
                tell([disk.reading_from_a_disk_that_cannot_be_written_to(top / "read-only")])
    kills = sum(tally.runs for tally in tallies if tally.fault == "killed")
    broken = sum(len(tally.broken) for tally in tallies)
    print(f"{kills} kills, {sum(tally.runs for tally in tallies) - kills} other faults: {broken} promises broken")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
