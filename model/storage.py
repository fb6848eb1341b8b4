"""Write files so that a crash or a full disk leaves the old one or the new one, never a part."""

from __future__ import annotations

import os
import re
import secrets
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from io import RawIOBase
from pathlib import Path

from safetensors import SafetensorError

from model.errors import ModelError

# Called with a name between any two steps that touch the disk: tests kill the process there.
Step = Callable[[str], None]
SLOW_TO_LET_GO = os.name == "nt"  # Windows refuses to replace a file while another program reads it
PAUSES = (0.05, 0.1, 0.2, 0.4, 0.8)  # seconds
LEFT_BEHIND = 3600.0  # seconds without a write: what nobody writes to any more


def go_on(point: str) -> None:
    """The step of ordinary use: nothing happens."""


def write_through(path: Path, data: bytes, step: Step = go_on) -> None:
    """Write a new file, all of it on the disk before this returns. Raises OSError.

    The file must not exist. It is written in two halves, with a step between them.
    """
    with path.open("xb") as file:
        step(f"{path.name} opened")
        half = len(data) // 2
        file.write(data[:half])
        file.flush()
        step(f"{path.name} half written")
        file.write(data[half:])
        file.flush()
        step(f"{path.name} written")
        os.fsync(file.fileno())
    step(f"{path.name} on the disk")


def replace_file(path: Path, data: bytes, step: Step = go_on) -> None:
    """Put new content in place of a file's old one, or make the file, in one move. Raises OSError."""
    temporary = _beside(path)
    try:
        write_through(temporary, data, step)
        move(temporary, path)
    except OSError:
        temporary.unlink(missing_ok=True)
        raise
    step(f"{path.name} replaced")
    sync_folder(path.parent)
    step(f"{path.name} replaced for good")


@contextmanager
def beside(path: Path) -> Iterator[Path]:
    """A file beside ``path`` to write at leisure: moved into its place when all went well, else taken away.

    Its content must be on the disk by then. Raises OSError.
    """
    unfinished = _beside(path)
    try:
        yield unfinished
        move(unfinished, path)
        sync_folder(path.parent)
    except BaseException:
        unfinished.unlink(missing_ok=True)
        raise


def _beside(path: Path) -> Path:
    """A name beside ``path`` that no other program writes to; what a crash left there long ago is taken away."""
    left = re.compile(rf"\.([0-9a-f]{{8}}\.)?{re.escape(path.name)}\.new")
    with suppress(OSError):
        for other in path.parent.iterdir():
            if left.fullmatch(other.name) and time.time() - other.stat().st_mtime > LEFT_BEHIND:
                other.unlink()
    return path.with_name(f".{secrets.token_hex(4)}.{path.name}.new")


@contextmanager
def in_a_sentence() -> Iterator[None]:
    """Turn what the disk refuses into one sentence. Raises ModelError; also to be used as a decorator."""
    try:
        yield
    except (OSError, SafetensorError) as error:
        where = getattr(error, "filename", None) or "the disk"
        told = getattr(error, "strerror", None) or str(error)
        raise ModelError(
            f"{where}: {told}; make room or fix its permissions, and do the same again: it goes on from what is kept"
        ) from None


def append_line(path: Path, line: str, step: Step = go_on) -> None:
    """Add one line to a file that only grows, or nothing. Raises OSError.

    A line that a crash cut short stays as it is, and the next one begins on a line of its own.
    """
    new = not path.exists()
    with path.open("a+b", buffering=0) as file:
        end = file.seek(0, os.SEEK_END)
        cut_short = False
        if end:
            file.seek(-1, os.SEEK_END)
            cut_short = file.read(1) != b"\n"
        step(f"{path.name} opened")
        try:
            write_all(file, b"\n" * cut_short + line.encode() + b"\n")
            step(f"{path.name} written")
            os.fsync(file.fileno())
        except OSError:
            os.ftruncate(file.fileno(), end)
            raise
    if new:
        sync_folder(path.parent)
    step(f"{path.name} on the disk")


def write_all(file: RawIOBase, data: bytes) -> None:
    """Write to a file without a buffer: what is refused is not tried again when the file is closed. Raises OSError."""
    left = memoryview(data)
    while left:
        left = left[file.write(left) or 0 :]


def move(old: Path, new: Path) -> None:
    """Rename within a folder, replacing a file that is there; tried again where Windows refuses."""
    for pause in PAUSES if SLOW_TO_LET_GO else ():
        try:
            old.replace(new)
            return
        except PermissionError:
            time.sleep(pause)
    old.replace(new)


def sync_folder(folder: Path) -> None:
    """Force the names in a folder to the disk; Windows has no such call and needs none."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
