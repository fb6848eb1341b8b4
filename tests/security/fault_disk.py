"""Disks that are full, folders that cannot be written to, and files that another program holds."""

from __future__ import annotations

import ctypes
import errno
import os
import shutil
import sqlite3
import subprocess
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path

from filelock import FileLock

from app.records.database import FILE, utc_now
from tests.security.fault_bench import Bench, Tally
from tests.security.fault_stores import a_book, a_collection, two_models
from tests.security.forked import Program, commands, prepared, run
from tests.security.kill_points import refuse

NEW_MOUNTS = 0x00020000  # CLONE_NEWNS
ROOM = 128_000_000  # bytes: enough for anything here


def own_mounts() -> bool:
    """Whether this process may mount disks of its own, which nobody else sees and which go when it ends."""
    try:
        unshare = ctypes.CDLL(None, use_errno=True).unshare
    except (OSError, AttributeError):
        return False
    if unshare(NEW_MOUNTS):
        return False
    quiet = {"check": False, "capture_output": True}
    return subprocess.run(["mount", "--make-rprivate", "/"], **quiet).returncode == 0  # type: ignore[call-overload]


def _mount(*arguments: str) -> None:
    subprocess.run(["mount", *arguments], check=True, capture_output=True)


def refused_at_points(bench: Bench, number: int, fault: str, runs: int) -> Tally:
    """From one point on, the disk refuses whatever is asked of it."""
    tally = Tally(bench.store.name, fault)
    points = run(bench.fresh(), bench.store.work, action=refuse(number)).points  # SQLite has fewer than for a kill
    for one in range(runs):
        point = points * one // runs
        ended = run(bench.fresh(), bench.store.work, at=point, action=refuse(number), onwards=True)
        bench.look(tally, ended, f"{fault}, point {point} of {points}")
    return tally


def full_disk(bench: Bench, runs: int) -> Tally:
    """A small disk with less and less room beside what is there; more is given before the tool must work on."""
    tally = Tally(bench.store.name, "disk full")
    home, disk = bench.home, bench.top / "disk"
    disk.mkdir()
    grown = max(_size(home) - _size(bench.template), 64 << 10)
    for one in range(runs):
        spare = int(grown * 1.6 * one / max(runs - 1, 1))
        _mount("-t", "tmpfs", "-o", f"size={ROOM}", "tmpfs", str(disk))
        try:
            bench.home = disk / "home"
            shutil.copytree(bench.template, bench.home)
            _fill(disk / "filler", spare)
            ended = run(bench.home, bench.store.work)
            (disk / "filler").unlink()
            bench.look(tally, ended, f"disk with {spare} bytes to spare")
        finally:
            subprocess.run(["umount", "-l", str(disk)], check=True)
    bench.home = home
    return tally


def read_only(bench: Bench) -> Tally:
    """A home on a disk that is mounted to be read only."""
    tally = Tally(bench.store.name, "read-only")
    home = str(bench.fresh())
    _mount("--bind", home, home)
    try:
        _mount("-o", "remount,ro,bind", home)
        ended = run(bench.home, bench.store.work)
        _mount("-o", "remount,rw,bind", home)
        bench.look(tally, ended, "read-only")
        if tally.after and not bench.store.optional:
            tally.broken.append("something was written to a disk that cannot be written to")
    finally:
        subprocess.run(["umount", "-l", home], check=True)
    return tally


def _fill(filler: Path, spare: int) -> None:
    """Take all of a disk but some bytes, of which SQLite's side files need a few pages."""
    room = os.statvfs(filler.parent)
    with filler.open("wb") as file:
        os.posix_fallocate(file.fileno(), 0, max(1, room.f_bavail * room.f_frsize - spare))


def _size(folder: Path) -> int:
    """Bytes that a folder takes on a disk."""
    return sum((path.stat().st_size + 4095) // 4096 * 4096 + 4096 for path in (folder, *folder.rglob("*")))


# Held by another program


@contextmanager
def held(home: Path) -> Iterator[None]:
    """Another program writes to the records, the collection and the models, and does not end."""
    program = Program(home, lambda: _hold(home))
    while not (home / "held").exists():
        time.sleep(0.01)
    try:
        yield
    finally:
        program.kill()
        program.end()
        (home / "held").unlink()


def _hold(home: Path) -> None:
    with ExitStack() as stack:
        for lock in ("collection/manifest.lock", "models/.lock"):
            if (home / lock).parent.is_dir():
                stack.enter_context(FileLock(home / lock))
        if (home / "records" / FILE).is_file():
            book = stack.enter_context(closing(sqlite3.connect(home / "records" / FILE, isolation_level=None)))
            book.execute("BEGIN IMMEDIATE")
        (home / "held").touch()
        time.sleep(60)


def impatient() -> None:
    """The same patience, shorter: nobody wants to wait half a minute for each of these."""
    from app.records import locks, record_book
    from training.collection import store
    from training.registry import models as registry

    record_book.open_records.__defaults__ = (None, 0.3, utc_now)
    locks.PATIENCE = locks.SHORT_PATIENCE = registry.PATIENCE = store.WAIT = 0.3


def held_by_another(bench: Bench) -> Tally:
    """It is said, and nothing is changed; held for a moment only, it is waited for."""
    tally = Tally(bench.store.name, "held by another")
    home = bench.fresh()
    with held(home):
        ended = run(home, bench.store.work, before=impatient)
    bench.look(tally, ended, "held by another")
    if tally.after:
        tally.broken.append("it was written to although another program held it")
    home = bench.fresh()
    with held(home):
        program = Program(home, bench.store.work)
        time.sleep(0.5)
    ended = program.end()
    bench.look(tally, ended, "held for half a second")
    if ended.status:
        tally.broken.append(f"held for half a second: {ended.err}")
    return tally


def _three(home: Path) -> None:
    a_book(home)
    a_collection(home)
    two_models(home)


READING = ("records clients", "records search wattle", "records check", "collect list", "models list", "models")


def reading_goes_on(top: Path, lines: Sequence[str] = READING) -> Tally:
    """Whoever only reads is not kept waiting by one who writes."""
    tally = Tally("all, read only", "held by another")
    home = prepared(top / "home", _three)
    with held(home):
        for line in lines:
            ended = run(home, commands(line.split()), before=impatient)
            tally.runs += 1
            tally.before += ended.status == 0
            tally.tracebacks += ended.tracebacks
            if ended.status:
                tally.broken.append(f"{line}: {ended.err}")
    return tally


def reading_from_a_disk_that_cannot_be_written_to(top: Path, lines: Sequence[str] = READING) -> Tally:
    """What can be read is read, and the rest is a sentence."""
    tally = Tally("all, read only", "read-only")
    home = prepared(top / "home", _three)
    _mount("--bind", str(home), str(home))
    try:
        _mount("-o", "remount,ro,bind", str(home))
        for line in lines:
            ended = run(home, commands(line.split()))
            tally.runs += 1
            tally.before += ended.in_a_sentence
            tally.tracebacks += ended.tracebacks
            if not ended.in_a_sentence:
                tally.broken.append(f"{line}: {ended.err}")
    finally:
        subprocess.run(["umount", "-l", str(home)], check=True)
    return tally


FULL, READ_ONLY = errno.ENOSPC, errno.EROFS
