"""Try what others may send, and watch what comes of it: result, sentence or fault; writes, programs, time, memory."""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from model.errors import SwardkeyError

LONGEST_SENTENCE = 600  # characters, without the folder of the try
LONGEST_SECONDS = 120.0  # by the clock, on a machine that may be busy
MOST_MEGABYTES = 700.0
WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
# Which of the things told of these are places that are written to.
PLACES = {
    "os.mkdir": (0,),
    "os.rename": (0, 1),
    "os.link": (1,),
    "os.symlink": (1,),
    "os.truncate": (0,),
    "os.chmod": (0,),
}
PROGRAMS = ("pickle.find_class", "os.system", "os.exec", "os.posix_spawn", "os.spawn", "subprocess.Popen", "os.fork")
OURS = "decoder.py"  # the one program that is started: the one that opens pictures


@dataclass(frozen=True)
class Try:
    """One thing that others may send, and what the tool does with it; ``ends``: result, sentence or either."""

    kind: str
    name: str
    act: Callable[[], object]
    ends: str = "either"


@dataclass(frozen=True)
class Met:
    """What came of it: result, sentence, traceback, or wrong where it ended otherwise than it must."""

    kind: str
    name: str
    came: str
    says: str
    seconds: float
    megabytes: float = 0.0
    outside: tuple[str, ...] = ()


@dataclass
class Watch:
    """Notes every file that is written and every program that is started, by what Python itself reports.

    ``allowed`` are the folders in which writing is right; ``reached`` the addresses that were connected to.
    """

    allowed: tuple[Path, ...]
    on: bool = False
    outside: list[str] = field(default_factory=list)
    reached: list[Any] = field(default_factory=list)

    def __post_init__(self) -> None:
        temporary = Path(tempfile.gettempdir()) / "swardkey-"
        self._starts = tuple([os.path.realpath(p) + os.sep for p in self.allowed] + [os.path.realpath(temporary)])
        sys.addaudithook(self._hear)

    def _hear(self, event: str, told: tuple[Any, ...]) -> None:
        if not self.on:
            return
        if event == "open" and isinstance(told[2], int) and told[2] & WRITES:
            self._wrote(told[0])
        elif event in PLACES and -1 in (told[-1], -1 if event == "os.truncate" else 0):
            for number in PLACES[event]:
                self._wrote(told[number])
        elif event == "sqlite3.connect":
            self._wrote(str(told[0]).removeprefix("file://").split("?")[0])
        elif event == "socket.connect":
            self.reached.append(told[1])
        elif event in PROGRAMS and not (event == "subprocess.Popen" and OURS in str(told[1])):
            self.outside.append(f"{event} {told[:2]}")

    def _wrote(self, path: object) -> None:
        if isinstance(path, int):
            return
        place = os.path.realpath(os.fsdecode(path))  # type: ignore[arg-type]
        if place not in ("/dev/null", "/:memory:") and ":memory:" not in place and not place.startswith(self._starts):
            self.outside.append(place)

    @contextmanager
    def watching(self) -> Iterator[None]:
        """Listen while something is tried."""
        self.outside.clear()
        self.reached.clear()
        self.on = True
        try:
            yield
        finally:
            self.on = False


def meet(one: Try, watch: Watch, box: Path) -> Met:
    """Try one thing."""
    before = _memory("VmRSS")
    with suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5")  # the highest memory is counted anew
    start, says = time.perf_counter(), ""
    with watch.watching():
        try:
            one.act()
            came = "result"
        except SwardkeyError as error:
            came, says = "sentence", str(error)
        except Exception as error:
            came, says = "traceback", repr(error)[:300]
    seconds, megabytes = time.perf_counter() - start, _memory("VmHWM") - before
    if came == "sentence" and not _is_sentence(says.replace(str(box), "")):
        came = "wrong"
    if one.ends not in ("either", came) and came in ("result", "sentence"):
        came, says = "wrong", f"{came} instead of {one.ends}: {says}"
    return Met(one.kind, one.name, came, says, seconds, megabytes, tuple(watch.outside))


def meet_all(tries: Iterable[Try], watch: Watch, box: Path) -> list[Met]:
    """Try everything."""
    return [meet(one, watch, box) for one in tries]


def broken(met: Sequence[Met]) -> list[Met]:
    """Those that broke a promise."""
    return [
        m
        for m in met
        if m.came not in ("result", "sentence")
        or m.outside
        or m.seconds > LONGEST_SECONDS
        or m.megabytes > MOST_MEGABYTES
    ]


def table(met: Sequence[Met]) -> str:
    """A row a kind."""
    rows = [f"{'kind':34}  tried result sentence wrong tracebacks outside worst s worst MB"]
    for kind in [*dict.fromkeys(m.kind for m in met), ""]:
        some = [m for m in met if not kind or m.kind == kind]
        came = [m.came for m in some]
        rows.append(
            f"{kind or 'all':34} {len(some):6} {came.count('result'):6} {came.count('sentence'):8} "
            f"{came.count('wrong'):5} {came.count('traceback'):10} {sum(len(m.outside) for m in some):7} "
            f"{max(m.seconds for m in some):7.2f} {max(m.megabytes for m in some):8.0f}"
        )
    return "\n".join(rows)


def _is_sentence(says: str) -> bool:
    return 10 < len(says) <= LONGEST_SENTENCE and says.isprintable()


def _memory(name: str) -> float:
    """Megabytes that this process holds (VmRSS) or held at most (VmHWM); 0 where it cannot be told."""
    status = Path("/proc/self/status")
    if not status.exists():
        return 0.0
    return next((int(line.split()[1]) / 1000 for line in status.read_text().splitlines() if line.startswith(name)), 0.0)
