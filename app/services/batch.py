"""Many photos at once: each photo of a folder named by itself, by all processors, a row a photo.

With a share such as 2/8, one machine of eight takes its part: which share a photo is in depends on its
name within the folder only.
"""

from __future__ import annotations

import hashlib
import multiprocessing
import os
import signal
import threading
import unicodedata
from collections.abc import Generator, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from app.services.batch_table import UNREADABLE, Named, Table
from app.services.home import registry
from model.csv_file import clean_text
from model.errors import PhotoError, SwardkeyError
from model.prior import load_prior, region_named
from training.data.labelled import ENDINGS, photos_below

MEMORY_EACH = 1_200_000_000  # bytes that a worker takes, with its decoder and some to spare
DIGITS = 4  # of a probability
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


@dataclass(frozen=True)
class Batch:
    """What is to be named, checked: ``left`` are the photos without a row in the table, ``before`` counts those with.

    ``folder``, ``model``, ``month`` and ``region`` are what a worker needs to know.
    """

    folder: Path
    model: str
    month: int | None
    region: str | None
    workers: int
    table: Table | None
    left: list[str]
    before: int

    def rows(self) -> Generator[Named, None, None]:
        """Name the photos that are left, in order; each row is in the table once it is given. Raises SwardkeyError."""
        workers = min(self.workers, len(self.left))
        for row in name_all(self.left, workers, self.folder, self.model, self.month, self.region) if workers else ():
            if self.table is not None:
                self.table.add(row)
            yield row


def check_batch(
    photos: Sequence[Path],
    *,
    shard: str | None = None,
    out: Path | None = None,
    month: int | None = None,
    region: str | None = None,
    workers: int | None = None,
    of_one_plant: Mapping[str, object] | None = None,
) -> Batch:
    """A folder to name, from the options of a command; ``of_one_plant``: those for one plant. Raises SwardkeyError."""
    if len(photos) != 1 or not photos[0].is_dir():
        raise SwardkeyError("name one folder of photos, or photos of one plant without --out and --shard")
    for option, given in (of_one_plant or {}).items():
        if given is not None:
            raise SwardkeyError(f"{option} is for one plant; leave it out with a folder, or name the plant's photos")
    if out is not None and out.suffix.lower() != ".csv":
        raise SwardkeyError(f"--out {out}: is not the name of a table; give one that ends in .csv")
    share, region = Share.read(shard) if shard is not None else Share(), region_named(load_prior(), region)
    model, names, table = registry().in_charge().name, photos_in(photos[0], share), Table(out) if out else None
    done = table.done(model) if table else set()
    left = [name for name in names if clean_text(name) not in done]
    return Batch(photos[0], model, month, region, workers or processors(), table, left, len(names) - len(left))


class Worker:
    """Names photos in a process of its own: the key and the photo model loaded once, one thread."""

    def __init__(self, folder: Path, model: str, month: int | None, region: str | None) -> None:
        # Imported here, since only the processes of the pool need them.
        from app.services.knowledge import load_key
        from model.photo.model import load_model

        self.folder, self.model, self.month, self.region = folder, model, month, region
        self.key = load_key()
        self.photo_model = load_model(registry().named(model).folder, threads=1)

    def name(self, file: str) -> Named:
        """The row of one photo, also of one that cannot be read."""
        from model.identify import identify
        from model.photo.decode import named
        from model.photo.sandbox import open_photo

        path, name = self.folder / file, clean_text(file)
        try:
            evidence = self.photo_model.look([open_photo(path)])
        except PhotoError as error:
            cause = str(error).removeprefix(f"{named(path)}: ")
            return Named(name, UNREADABLE, note=clean_text(cause), model=self.model)
        likeliest = sorted(evidence.probabilities.items(), key=lambda item: (-item[1], item[0]))
        finding = identify(self.key, {}, evidence, self.month, self.region)
        return Named(
            file=name,
            status=finding.status,
            species=finding.species,
            probability=None if finding.probability is None else round(finding.probability, DIGITS),
            photo=tuple((species, round(p, DIGITS)) for species, p in likeliest[:3]),
            usable=bool(finding.photos[0]["usable"]),
            note=clean_text("; ".join(finding.photos[0]["notes"])),
            model=self.model,
        )


_worker: Worker  # in a process of the pool


def _start_worker(*knows: Any) -> None:
    global _worker
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the program, which lets them finish
    threading.Thread(target=_end_with_the_program, daemon=True).start()
    _worker = Worker(*knows)


def _end_with_the_program() -> None:
    program = multiprocessing.parent_process()
    if program is not None:
        program.join()
        os._exit(1)  # it was killed: nobody waits for the rows any more


def _name(file: str) -> Named:
    return _worker.name(file)


@contextmanager
def _without_ctrl_c() -> Iterator[None]:
    """Processes that are started in it never meet Ctrl-C, not even before their first line; ours waits until after."""
    if not hasattr(signal, "pthread_sigmask"):  # Windows, where each worker says so itself once it runs
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def name_all(files: Iterable[str], workers: int, *knows: Any) -> Iterator[Named]:
    """Rows of photos, in order; ``knows``: arguments of Worker. Raises SwardkeyError when a process is ended."""
    os.environ.update(dict.fromkeys(ONE_THREAD, "1"))  # for the workers, which inherit it
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, context, _start_worker, knows) as pool:
        try:
            with _without_ctrl_c():
                rows = pool.map(_name, files)
            yield from rows
        except BrokenProcessPool:
            raise SwardkeyError(
                "a process that names photos was ended, perhaps for lack of memory; the rows so far are kept: "
                f"run the same command again, with --workers {max(1, workers - 1)}"
            ) from None


def processors() -> int:
    """Processors that this program may use, but no more than there is memory for."""
    found = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    if hasattr(os, "sysconf"):
        found = min(found, os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") // MEMORY_EACH)
    return max(1, found)
