"""A zip that others may have made: what is refused by its central directory, before anything is unpacked."""

from __future__ import annotations

import re
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from model.file import DEVICES, check_ordinary

MOST_RATIO = 100  # unpacked to packed
SHRUNK = f"unpacks to over {MOST_RATIO} times its size"
LONGEST_NAME = 200  # bytes
LONGEST_ENTRY = 500  # bytes in the list of members
LARGEST_ZIP = 1 << 40  # bytes
_END = 66_000  # bytes: within these ends a zip, whatever comment it has
_ANY_SIZE = 10_000  # bytes: below this a member may shrink as much as it likes
_CHUNK = 1 << 20
_NESTED = (".zip", ".7z", ".rar", ".tar", ".gz", ".tgz", ".bz2", ".xz", ".zst", ".jar", ".cab", ".iso")
_BAD_CHARACTER = re.compile(r"[\x00-\x1f\x7f<>\"|?*\u200e\u200f\u202a-\u202e\u2066-\u2069]")
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, struct.error, ValueError)


def entries_at_most(path: Path, most: int) -> int:
    """How many members a zip can list at most, counted in its list and not as its end says; stops above ``most``.

    A reader makes an object of every one of them before anything can be checked. Raises OSError;
    ValueError where the list is longer than so many members need, or no zip is there.
    """
    size = check_ordinary(path, LARGEST_ZIP)
    with path.open("rb") as file:
        listed = max(_directory_sizes(file, size), default=0)
        if listed > most * LONGEST_ENTRY:
            raise ValueError("its list of members is too long")
        start = max(0, size - listed - _END)
        file.seek(start)
        count, left = 0, b""
        while count <= most and (chunk := file.read(_CHUNK)):
            data = left + chunk
            count += data.count(b"PK\x01\x02")
            left = data[-3:]
    return count


def _directory_sizes(file: BinaryIO, size: int) -> Iterator[int]:
    """Bytes that the list of members takes, as each end that a reader may go by says."""
    file.seek(max(0, size - _END))
    tail = file.read()
    for found in re.finditer(b"PK\x05\x06", tail):
        if len(tail) - found.start() >= 22:
            yield struct.unpack_from("<L", tail, found.start() + 12)[0]
    # A zip in the 64-bit form has a longer end, which holds the size.
    for found in re.finditer(b"PK\x06\x07", tail):
        place = struct.unpack_from("<Q", tail.ljust(len(tail) + 20, b"\0"), found.start() + 8)[0]
        if not size - len(tail) <= place < size:
            raise ValueError("its end record is out of place")
    for found in re.finditer(b"PK\x06\x06", tail):
        if len(tail) - found.start() >= 56:
            yield min(size, struct.unpack_from("<Q", tail, found.start() + 40)[0])


def fault_of_name(name: str) -> str:
    """Why a member's name is refused; "" for an ordinary one.

    >>> fault_of_name("dandelion/a.jpg"), fault_of_name("../a.jpg"), fault_of_name("dandelion/con.jpg")
    ('', 'leaves the folder', 'is a name that Windows keeps for a device')
    """
    parts = name.removesuffix("/").split("/")
    if "\\" in name:
        return "has a backslash in its name"
    if name.startswith("/") or re.match(r"[a-zA-Z]:", name):
        return "has an absolute name"
    if ":" in name or _BAD_CHARACTER.search(name):
        return "has a character in its name that no photo needs"
    if any(part in ("", ".", "..") for part in parts):
        return "leaves the folder" if ".." in parts else "has an empty part in its name"
    if len(name.encode("utf-8", "surrogatepass")) > LONGEST_NAME:
        return f"has a name of over {LONGEST_NAME} bytes"
    for part in parts:
        if part != part.strip() or part.endswith("."):
            return "has a name that begins or ends in a space, or ends in a dot"
        if part.split(".")[0].strip().casefold() in DEVICES:
            return "is a name that Windows keeps for a device"
    return ""


def fault_of_member(info: zipfile.ZipInfo, size: int | None = None) -> str:
    """Why a member is refused for what it is or claims to be; "" for an ordinary one. ``size``: bytes of the zip."""
    kind = stat.S_IFMT(info.external_attr >> 16)
    if kind == stat.S_IFLNK:
        return "is a link"
    if kind not in (0, stat.S_IFREG, stat.S_IFDIR):
        return "is not an ordinary file"
    if size is not None and not 0 <= info.header_offset < size:
        return "points outside of the archive"
    if info.flag_bits & 0x1:
        return "is encrypted"
    if info.compress_type not in _METHODS:
        return "is packed in a way that is not supported; zip the photos with the usual compression"
    if info.orig_filename.casefold().endswith(_NESTED):
        return "is an archive inside the archive"
    if info.file_size > most_unpacked(info):
        return SHRUNK
    return ""


def most_unpacked(info: zipfile.ZipInfo) -> int:
    """Bytes that a member may unpack to."""
    return max(_ANY_SIZE, MOST_RATIO * info.compress_size)
