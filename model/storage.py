"""Write files so that a crash or a full disk leaves the old one or the new one, never a part."""

from __future__ import annotations

import os
import re
import secrets
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from io import RawIOBase
from pathlib import Path

from safetensors import SafetensorError

from model.errors import ModelError

SLOW_TO_LET_GO = os.name == "nt"  # Windows refuses to replace a file while another program reads it
PAUSES = (0.05, 0.1, 0.2, 0.4, 0.8)  # seconds between tries to replace one
ABANDONED = 3600.0  # seconds without a write, after which an unfinished file is nobody's


def write_through(path: Path, data: bytes) -> None:
    """Write a new file, all of it on the disk before this returns. Raises OSError, also where it exists."""
    with path.open("xb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def replace_file(path: Path, data: bytes) -> None:
    """Put new content in place of a file's old one, or make the file, in one move. Raises OSError."""
    with beside(path) as unfinished:
        write_through(unfinished, data)


@contextmanager
def beside(path: Path) -> Iterator[Path]:
    """An unfinished file beside ``path`` to write to: moved into its place when all went well, else deleted.

    Its content must be on the disk by then. Raises OSError.
    """
    unfinished = _unfinished(path)
    try:
        yield unfinished
        move(unfinished, path)
        sync_folder(path.parent)
    except BaseException:
        unfinished.unlink(missing_ok=True)
        raise


def is_unfinished(path: Path) -> bool:
    """Whether a file is called as those of ``beside`` are until they are whole."""
    return re.fullmatch(r"\.[0-9a-f]{8}\..+\.new", path.name) is not None


def _unfinished(path: Path) -> Path:
    """A name beside ``path`` that no other program writes to; what a crash left there long ago is deleted."""
    left = re.compile(rf"\.([0-9a-f]{{8}}\.)?{re.escape(path.name)}\.new")
    with suppress(OSError):
        for other in path.parent.iterdir():
            if left.fullmatch(other.name) and time.time() - other.stat().st_mtime > ABANDONED:
                other.unlink()
    return path.with_name(f".{secrets.token_hex(4)}.{path.name}.new")


@contextmanager
def in_a_sentence() -> Iterator[None]:
    """Turn what the disk refuses into one sentence. Raises ModelError; also to be used as a decorator."""
    try:
        yield
    except (OSError, SafetensorError) as error:
        where = getattr(error, "filename", None) or "the disk"
        cause = getattr(error, "strerror", None) or str(error)
        raise ModelError(
            f"{where}: {cause}; make room or fix its permissions, and do the same again: it goes on from what is kept"
        ) from None


def append_line(path: Path, line: str) -> None:
    """Add one line to a log, on the disk before this returns, or nothing. Raises OSError.

    A line that a crash cut short stays as it is, and the next one begins on a line of its own.
    """
    new = not path.exists()
    append(path, b"\n" * is_torn(path) + line.encode() + b"\n")
    if new:
        sync_folder(path.parent)


def append(path: Path, data: bytes) -> None:
    """Add bytes to a file, on the disk before this returns; what the disk refuses is cut off again. Raises OSError."""
    with path.open("ab", buffering=0) as file:
        end = file.seek(0, os.SEEK_END)
        try:
            write_all(file, data)
            os.fsync(file.fileno())
        except OSError:
            os.ftruncate(file.fileno(), end)
            raise


def is_torn(path: Path) -> bool:
    """Whether the last line of a file has no end, as a crash leaves it; not where the file cannot be read."""
    with suppress(OSError), path.open("rb") as file:
        if file.seek(0, os.SEEK_END):
            file.seek(-1, os.SEEK_END)
            return file.read(1) != b"\n"
    return False


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
