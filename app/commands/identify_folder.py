"""Many photos at once: each photo of a folder named by itself, by all processors, a row a photo.

With ``--shard 2/8`` one machine of eight takes its share: which share a photo is in depends on its
name within the folder only.
"""

from __future__ import annotations

import hashlib
import multiprocessing
import os
import signal
import sys
import threading
import unicodedata
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from app.commands.folder_table import UNREADABLE, Named, Sheet, shown
from app.commands.json_output import print_json
from app.services.home import registry
from app.services.progress import bar
from model.csv_file import clean_text
from model.errors import PhotoError, SwardkeyError
from model.prior import load_prior, region_named
from training.data.labelled import ENDINGS, photos_below

WAITING = 4  # photos that are handed out beforehand for each worker
MEMORY_EACH = 1_200_000_000  # bytes that a worker takes, with its decoder and some to spare
DIGITS = 4  # digits of a probability
ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


@dataclass(frozen=True)
class Share:
    """Share ``number`` of ``of`` of a folder, numbered from 1.

    >>> Share.read("2/8")
    Share(number=2, of=8)
    """

    number: int = 1
    of: int = 1

    @classmethod
    def read(cls, text: str) -> Share:
        """From "2/8". Raises SwardkeyError."""
        number, _, of = text.partition("/")
        if not (number.isdecimal() and of.isdecimal() and 1 <= int(number) <= int(of) <= 10_000):
            raise SwardkeyError(f"--shard {text}: is not a share; give number/of, as in 2/8")
        return cls(int(number), int(of))

    def holds(self, name: str) -> bool:
        """Whether a photo is in this share; the same on every machine, however it writes accents."""
        digest = hashlib.sha256(unicodedata.normalize("NFC", name).encode("utf-8", "surrogateescape")).digest()
        return int.from_bytes(digest[:8]) % self.of == self.number - 1


def photos_in(folder: Path, share: Share) -> list[str]:
    """Names of the photos in a share, within the folder, in alphabetical order. Links are not followed."""
    found = [file.relative_to(folder).as_posix() for file in photos_below(folder)]
    if not found:
        raise SwardkeyError(f"{folder}: holds no photos ({', '.join(ENDINGS)}); name another folder")
    return sorted(name for name in found if share.holds(name))


class Worker:
    """Names photos in a process of its own: the key and the photo model loaded once, one thread."""

    def __init__(self, folder: Path, model: str, month: int | None, region: str | None) -> None:
        from app.services.knowledge import load_key
        from model.photo import load_model

        self.folder, self.model, self.month, self.region = folder, model, month, region
        self.key = load_key()
        self.photo_model = load_model(registry().named(model).folder, threads=1)

    def name(self, file: str) -> Named:
        """The row of one photo, also of one that cannot be read."""
        from model.identify import identify
        from model.photo import open_photo
        from model.photo.decode import named

        path, name = self.folder / file, clean_text(file)
        try:
            evidence = self.photo_model.look([open_photo(path)])
        except PhotoError as error:
            cause = str(error).removeprefix(f"{named(path)}: ")
            return Named(name, UNREADABLE, None, None, (), False, clean_text(cause), self.model)
        finding = identify(self.key, {}, evidence, self.month, self.region)
        return Named(
            file=name,
            status=finding.status,
            species=finding.species,
            probability=None if finding.probability is None else round(finding.probability, DIGITS),
            photo=top_three(evidence.probabilities),
            usable=bool(finding.photos[0]["usable"]),
            note=clean_text("; ".join(finding.photos[0]["notes"])),
            model=self.model,
        )


def top_three(probabilities: Mapping[str, float]) -> tuple[tuple[str, float], ...]:
    """The three likeliest species, likeliest first; of equal ones the first by name."""
    best = sorted(probabilities.items(), key=lambda item: (-item[1], item[0]))[:3]
    return tuple((species, round(p, DIGITS)) for species, p in best)


_worker: Worker  # in a process of the pool


def _begin(*wishes: Any) -> None:
    """Make a process of the pool ready."""
    global _worker
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the program, which lets them finish
    threading.Thread(target=_end_with_the_program, daemon=True).start()
    _worker = Worker(*wishes)


def _end_with_the_program() -> None:
    program = multiprocessing.parent_process()
    if program is not None:
        program.join()
        os._exit(1)  # it was killed: nobody waits for the rows any more


def _name(file: str) -> Named:
    return _worker.name(file)


def name_all(files: Iterable[str], workers: int, *wishes: Any) -> Iterator[Named]:
    """Rows of photos in the order of their names; ``wishes`` are those of Worker.

    Few photos are handed out at a time, so memory stays the same however many there are.
    Raises SwardkeyError when a process is ended from outside.
    """
    context = multiprocessing.get_context("spawn")
    waiting: deque[Future[Named]] = deque()
    with _one_thread(), ProcessPoolExecutor(workers, context, _begin, wishes) as pool:
        try:
            for file in files:
                waiting.append(pool.submit(_name, file))
                while len(waiting) >= workers * WAITING:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        except BrokenProcessPool:
            raise SwardkeyError(
                "a process that names photos was ended, perhaps for lack of memory; the rows so far are kept: "
                f"run the same command again, with --workers {max(1, workers - 1)}"
            ) from None
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


@contextmanager
def _one_thread() -> Iterator[None]:
    """Processes that are started meanwhile compute with one thread each."""
    before = {name: os.environ.get(name) for name in ONE_THREAD}
    os.environ.update(dict.fromkeys(ONE_THREAD, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


@dataclass(frozen=True)
class Job:
    """What is to be done, checked: nothing is written before it is run."""

    folder: Path
    out: Path | None
    share: Share
    month: int | None
    region: str | None
    workers: int

    def run(self, quiet: bool, each: Callable[[Named], None]) -> tuple[int, int]:
        """Name all photos of the share that the table has no row of; how many were done now, and before.

        ``each`` is given every new row, in the order of the names. Interrupted, all rows so far
        are kept. Raises SwardkeyError.
        """
        model = registry().in_charge().name
        names = photos_in(self.folder, self.share)
        sheet = Sheet(self.out) if self.out else None
        known = sheet.done(model) if sheet else set()
        left = [name for name in names if clean_text(name) not in known]
        done = 0
        if left:
            workers = min(self.workers, len(left))
            with bar("naming", len(left), quiet) as progress:
                for row in name_all(left, workers, self.folder, model, self.month, self.region):
                    if sheet:
                        sheet.add(row)
                    each(row)
                    done += 1
                    progress(done)
        return done, len(names) - len(left)


def identify_folder(
    photos: Sequence[Path] | None,
    *,
    shard: str | None = None,
    out: Path | None = None,
    answers: Path | None = None,
    visible: str | None = None,
    month: int | None = None,
    region: str | None = None,
    workers: int | None = None,
    as_json: bool = False,
) -> None:
    """The command `swardkey identify FOLDER`: print a row a photo, or write them to ``out``.

    Raises SwardkeyError.
    """
    if len(photos or ()) != 1 or not photos or not photos[0].is_dir():
        raise SwardkeyError("name one folder of photos, or photos of one plant without --out and --shard")
    for option, told in (("--answers", answers), ("--visible", visible)):
        if told is not None:
            raise SwardkeyError(f"{option} is of one plant; leave it out with a folder, or name the plant's photos")
    if out is not None and out.suffix.lower() != ".csv":
        raise SwardkeyError(f"--out {out}: is not the name of a table; give one that ends in .csv")
    share = Share.read(shard) if shard is not None else Share()
    job = Job(photos[0], out, share, month, region_named(load_prior(), region), workers or processors())
    rows: list[Named] = []
    done = 0

    def each(row: Named) -> None:
        nonlocal done
        done += 1
        if out is None:
            rows.append(row) if as_json else print(shown(row))

    try:
        now, before = job.run(quiet=as_json, each=each)
    except KeyboardInterrupt:
        kept = f"{done} rows kept in {out}; the same command goes on from there" if out else f"{done} photos done"
        sys.stderr.write(f"swardkey: {kept}\n")
        raise
    if as_json:
        named = [row.as_json() for row in (Sheet(out).rows() if out else rows)]
        print_json({"photos": len(named), "rows": named})
    elif out is not None:
        print(f"{now} photos named, {before} before: {out}")


def processors() -> int:
    """Processors that this program may use, and no more than the memory is enough for."""
    found = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    if hasattr(os, "sysconf"):
        found = min(found, os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") // MEMORY_EACH)
    return max(1, found)
