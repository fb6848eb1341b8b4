"""Hostile pictures, made from a seed, and what comes of them behind the sandbox.

``python -m tests.security.hostile_pictures`` opens every file of the corpus and 10,000 damaged copies,
and prints a table. Each must end in a Photo or in one sentence; this program must neither stop nor
grow, and a good photo must open afterwards.
"""

from __future__ import annotations

import argparse
import os
import resource
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np

from model.errors import PhotoError
from model.photo.sandbox import Limits, Sandbox
from tests.security.hostile_kinds import KINDS, Made
from tests.security.hostile_watch import Met
from tests.security.picture_parts import SEEDS, good_jpeg

LONGEST_SENTENCE = 400
Open = Callable[[Path], object]


def meet(sandbox: Sandbox, file: Path, made: Made) -> Met:
    """Open one file; it must end as it was made to: "photo", "refused", or either of these."""
    start = time.perf_counter()
    try:
        photo = sandbox.open(file)
        came, says = "photo", ""
        if photo.pixels.dtype != np.uint8 or min(photo.pixels.shape[:2]) != 412:
            came, says = "wrong", f"pixels {photo.pixels.shape}"
    except PhotoError as error:
        came, says = "refused", str(error)
        if "\n" in says or len(says.split(": ", 1)[-1]) > LONGEST_SENTENCE or ": " not in says:
            came = "wrong"
    except Exception as error:
        came, says = "wrong", repr(error)
    if came != "wrong" and made.ends not in (came, "either"):
        says, came = f"{came} instead of {made.ends}: {says}", "wrong"
    return Met(made.kind, made.name, came, says, time.perf_counter() - start)


def corpus(kinds: Sequence[str] = tuple(KINDS), each: int | None = None) -> Iterator[Made]:
    """The files, always the same ones; ``each`` limits how many of a kind."""
    for kind in kinds:
        made = list(KINDS[kind]())
        step = 1 if each is None else max(1, -(-len(made) // each))
        yield from made[::step]


def meet_corpus(sandbox: Sandbox, folder: Path, made: Iterator[Made]) -> list[Met]:
    """Write and open every file."""
    met = []
    for number, one in enumerate(made):
        place = folder / f"{one.kind}_{number}"
        place.mkdir()
        try:
            file = one.write(place)
        except (OSError, ValueError) as error:  # a name that this disk does not take
            met.append(Met(one.kind, one.name, "not made", str(error), 0.0))
            continue
        met.append(meet(sandbox, file, one))
    return met


def flips(sandbox: Sandbox, folder: Path, count: int, seed: int = 20261125) -> list[Met]:
    """Open ``count`` copies of good pictures in each of which one to twenty bytes are others."""
    random = np.random.default_rng(seed)
    seeds = list(SEEDS.items())
    met = []
    for number in range(count):
        ending, data = seeds[number % len(seeds)]
        copy = np.frombuffer(data, np.uint8).copy()
        where = random.integers(0, len(copy), random.integers(1, 21))
        copy[where] = random.integers(0, 256, len(where), dtype=np.uint8)
        file = folder / f"flipped_{number % 8}"
        file.write_bytes(copy.tobytes())
        met.append(meet(sandbox, file, Made("byte-flipped", f"{ending} {number}", "either")))
    return met


def opens_still(sandbox: Sandbox, folder: Path) -> bool:
    """Whether a good photo still opens."""
    (folder / "good.jpg").write_bytes(good_jpeg())
    return sandbox.open(folder / "good.jpg").usable


def open_files() -> int:
    """Files and pipes that this process has open; 0 where it cannot be told."""
    return len(os.listdir("/proc/self/fd")) if Path("/proc/self/fd").is_dir() else 0  # noqa: PTH208


def memory() -> float:
    """Megabytes that this process holds; 0 where it cannot be told."""
    status = Path("/proc/self/statm")
    return int(status.read_text().split()[1]) * resource.getpagesize() / 1e6 if status.exists() else 0.0


def table(met: Sequence[Met]) -> str:
    """A row a kind: how many files, photos, refusals, not made, wrong, and the longest time."""
    rows = [f"{'kind':22} files photos refused not made wrong longest s"]
    for kind in dict.fromkeys(m.kind for m in met):
        some = [m for m in met if m.kind == kind]
        came = Counter(m.came for m in some)
        counts = f"{came['photo']:6} {came['refused']:7} {came['not made']:8} {came['wrong']:5}"
        rows.append(f"{kind:22} {len(some):5} {counts} {max(m.seconds for m in some):9.2f}")
    return "\n".join(rows)


def main() -> None:
    """The whole run."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--flips", type=int, default=10_000)
    count = asked.parse_args().flips
    with tempfile.TemporaryDirectory() as name, Sandbox(1, Limits()) as sandbox:
        folder = Path(name)
        assert opens_still(sandbox, folder)
        files, before = open_files(), memory()
        met = meet_corpus(sandbox, folder, corpus())
        made = len(met)
        met += flips(sandbox, folder, count)
        print(table(met))
        grown = memory() - before
        print(f"{made} files in {len(KINDS)} kinds, {count} byte-flipped")
        print(f"a good photo opens: {opens_still(sandbox, folder)}; decoders started {sandbox.started}")
        print(f"open files {files} before, {open_files()} after; grown by {grown:.0f} MB")
    for one in met:
        if one.came == "wrong":
            print("WRONG", one.kind, one.name, one.says)
    raise SystemExit(any(one.came == "wrong" for one in met))


if __name__ == "__main__":
    main()
