"""Files that others may have made: which are ordinary, how large they may be, and what they are called."""

from __future__ import annotations

import errno
import hashlib
import stat
from pathlib import Path, PurePosixPath

# What systems leave in folders without being asked.
_LITTER = frozenset({"thumbs.db", "desktop.ini", "__macosx"})
# File names that Windows keeps for devices, whatever their ending.
DEVICES = frozenset(
    ["con", "prn", "aux", "nul", "conin$", "conout$", "clock$"]
    + [f"{port}{number}" for port in ("com", "lpt") for number in (*range(10), "¹", "²", "³")]
)


def check_ordinary(path: Path, most: int, links: bool = True) -> int:
    """The size of an ordinary file in bytes.

    Raises OSError whose ``strerror`` says why it is not one: a folder, a pipe, a device, a file of
    more than ``most`` bytes or, without ``links``, a link. Opening a pipe might wait for ever.
    """
    found = path.stat() if links else path.lstat()
    if stat.S_ISLNK(found.st_mode):
        raise OSError(errno.ELOOP, "is a link", str(path))
    if not stat.S_ISREG(found.st_mode):
        raise OSError(errno.EINVAL, "is not an ordinary file", str(path))
    if found.st_size > most:
        raise OSError(errno.EFBIG, f"is over {_in_words(most)}, too large", str(path))
    return found.st_size


def read_file(path: Path, most: int, links: bool = True) -> bytes:
    """All bytes of an ordinary file. Raises OSError as ``check_ordinary`` does."""
    check_ordinary(path, most, links)
    with path.open("rb") as file:
        data = file.read(most + 1)
    if len(data) > most:  # it has grown meanwhile
        raise OSError(errno.EFBIG, f"is over {_in_words(most)}, too large", str(path))
    return data


def sha256_of(path: Path) -> str:
    """The sha256 of a file's bytes, 64 hex digits. Raises OSError."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def is_litter(name: str) -> bool:
    """Whether a path is one of the files that systems and programs leave behind."""
    return any(part.startswith(".") or part.casefold() in _LITTER for part in PurePosixPath(name).parts)


def _in_words(size: int) -> str:
    """A limit as people read it.

    >>> _in_words(2_000_000), _in_words(200_000)
    ('2 MB', '200 kB')
    """
    return f"{size // 1_000_000} MB" if size >= 1_000_000 else f"{size // 1000} kB"
