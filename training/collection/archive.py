"""A zip of photos, read member by member: nothing is ever extracted to a name that the zip chooses."""

from __future__ import annotations

import re
import stat
import struct
import tempfile
import unicodedata
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from model.errors import CollectionError, PhotoError
from model.file import check_ordinary
from training.collection.names import DEVICES, OTHER_FOLDER
from training.collection.offer import Refusal, is_litter, shown

MOST_ENTRIES = 20_000
MOST_BYTES = 2_000_000_000  # unpacked, all members together
MOST_RATIO = 100  # unpacked to packed
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


class ZipTree:
    """The files in a zip, all of whose members have been checked by name, kind and size.

    Each is streamed to a name of our own while it is needed. Raises CollectionError, naming
    the member, for a zip that is built to do harm; such a zip is refused as a whole.
    """

    def __init__(self, path: Path, is_plant: Callable[[str], bool] = lambda name: False) -> None:
        self.path = path
        self.title = str(path)
        self._archive = _opened(path)
        self._members = {info.filename: info for info in _checked(path, self._archive) if not info.is_dir()}
        self._top = _wrapper(list(self._members), is_plant)
        self._unpacked: dict[str, int] = {}
        self._total = 0

    def names(self) -> Iterator[str | Refusal]:
        """All files, in alphabetical order, without the one folder that may wrap them all."""
        for name in sorted(self._members):
            if not is_litter(name):
                yield name.removeprefix(self._top)

    def has(self, name: str) -> bool:
        """Whether there is such a member."""
        return self._top + name in self._members

    @contextmanager
    def get(self, name: str) -> Iterator[Path]:
        """A member as a temporary file, deleted afterwards.

        Raises PhotoError with the cause alone for a damaged member, CollectionError for one that
        unpacks to more than it may.
        """
        with tempfile.TemporaryDirectory(prefix="swardkey-") as folder:
            target = Path(folder) / "member"
            self._stream(self._members[self._top + name], target)
            yield target

    def _stream(self, info: zipfile.ZipInfo, target: Path) -> None:
        before = self._total - self._unpacked.get(info.filename, 0)
        size = 0
        try:
            with self._archive.open(info) as member, target.open("xb") as out:
                while chunk := member.read(_CHUNK):
                    size += len(chunk)
                    if size > max(_ANY_SIZE, MOST_RATIO * info.compress_size):
                        raise _refused(self.path, info.filename, f"unpacks to over {MOST_RATIO} times its size")
                    if before + size > MOST_BYTES:
                        raise _refused(
                            self.path, info.filename, f"brings the zip over {MOST_BYTES // 10**9} GB unpacked"
                        )
                    out.write(chunk)
        except BROKEN as error:
            raise PhotoError(f"is damaged in the zip ({shown(str(error)) or 'unreadable'})") from None
        self._unpacked[info.filename] = size
        self._total = before + size


def _opened(path: Path) -> zipfile.ZipFile:
    try:
        if entries_at_most(path, MOST_ENTRIES) > MOST_ENTRIES:
            raise CollectionError(f"{path}: lists over {MOST_ENTRIES} members; zip fewer photos at a time")
        return zipfile.ZipFile(path)
    except BROKEN as error:
        raise CollectionError(
            f"{path}: is no zip that can be read ({shown(str(error))}); zip the photos again"
        ) from None
    except OSError as error:
        raise CollectionError(f"{path}: {error.strerror or error}; check the name") from None


def _checked(path: Path, archive: zipfile.ZipFile) -> list[zipfile.ZipInfo]:
    """The members of a zip, in its order, after all checks that need no unpacking."""
    members = archive.infolist()
    size = path.stat().st_size
    seen: dict[str, str] = {}
    for info in members:
        fault = fault_of_name(info.orig_filename) or fault_of_member(info, size)
        folded = unicodedata.normalize("NFC", info.orig_filename.rstrip("/")).casefold()
        if not fault and folded in seen:
            fault = f"has the same name as {seen[folded]}, or differs in case or accents only"
        if fault:
            raise _refused(path, info.orig_filename, fault)
        seen[folded] = shown(info.orig_filename)
    if sum(info.compress_size for info in members) > size:
        raise CollectionError(f"{path}: its members overlap; the zip is refused, zip the photos again")
    if sum(info.file_size for info in members) > MOST_BYTES:
        raise CollectionError(f"{path}: unpacks to over {MOST_BYTES // 10**9} GB; zip fewer photos at a time")
    return members


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
            raise ValueError("its end is an unusual one")
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
        return "is no ordinary file"
    if size is not None and not 0 <= info.header_offset < size:
        return "lies outside of the file"
    if info.flag_bits & 0x1:
        return "is encrypted"
    if info.compress_type not in _METHODS:
        return "is packed in a way that is not taken; zip the photos in the ordinary way"
    if info.orig_filename.casefold().endswith(_NESTED):
        return "is an archive inside the archive"
    if info.file_size > max(_ANY_SIZE, MOST_RATIO * info.compress_size):
        return f"unpacks to over {MOST_RATIO} times its size"
    return ""


def _refused(path: Path, member: str, fault: str) -> CollectionError:
    return CollectionError(f"{path}: member {shown(member)} {fault}; the zip is refused, zip only photos in folders")


def _wrapper(names: list[str], is_plant: Callable[[str], bool]) -> str:
    """The one folder that holds everything, as `name/`, where it is not itself a species; else "".

    A folder that was zipped as a whole lies in the zip under its own name.
    """
    paths = [PurePosixPath(name).parts for name in names if not is_litter(name)]
    tops = {parts[0] for parts in paths}
    if len(tops) != 1:
        return ""
    top = tops.pop()
    inside = {"/".join(parts[1:]) for parts in paths}
    if inside & {"meta.xml", "manifest.csv"}:
        return top + "/"
    deep = all(len(parts) > 2 for parts in paths)
    return top + "/" if deep and top != OTHER_FOLDER and not is_plant(top) else ""
