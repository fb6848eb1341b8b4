"""A zip of photos, read member by member: nothing is ever extracted to a name that the zip chooses."""

from __future__ import annotations

import tempfile
import unicodedata
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath

from model.errors import CollectionError, PhotoError
from model.file import is_litter
from model.text import shown
from model.zip_file import BROKEN, SHRUNK, entries_at_most, fault_of_member, fault_of_name, most_unpacked
from training.collection.names import OTHER_FOLDER
from training.collection.offer import Refusal

MOST_ENTRIES = 20_000
MOST_BYTES = 2_000_000_000  # unpacked, all members together
_CHUNK = 1 << 20
PHOTOS = (".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif")
BLANK = "is blank, or not a photo: nothing can be made out in it"


class ZipTree:
    """The files in a zip, all of whose members have been checked by name, kind and size.

    Each is streamed to a name of our own while it is needed. Raises CollectionError, naming
    the member, for a zip that is built to do harm; such a zip is refused as a whole. A photo that shrinks as only a
    blank one does is set aside, and never unpacked.
    """

    def __init__(self, path: Path, is_plant: Callable[[str], bool] = lambda name: False) -> None:
        self.path = path
        self.title = str(path)
        self._archive = _opened(path)
        checked, self._blank = _checked(path, self._archive)
        self._members = {info.filename: info for info in checked if not info.is_dir()}
        self._top = _wrapper(list(self._members), is_plant)
        self._unpacked: dict[str, int] = {}
        self._total = 0

    def names(self) -> Iterator[str | Refusal]:
        """All files, in alphabetical order, without the one folder that may wrap them all; blank ones are refused."""
        for member in sorted(self._members):
            if not is_litter(member):
                name = member.removeprefix(self._top)
                yield Refusal(name, BLANK) if member in self._blank else name

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
            if self._top + name in self._blank:
                raise PhotoError(BLANK)
            self._stream(self._members[self._top + name], target)
            yield target

    def _stream(self, info: zipfile.ZipInfo, target: Path) -> None:
        before = self._total - self._unpacked.get(info.filename, 0)
        size = 0
        try:
            with self._archive.open(info) as member, target.open("xb") as out:
                while chunk := member.read(_CHUNK):
                    size += len(chunk)
                    if size > most_unpacked(info):
                        raise _refused(self.path, info.filename, SHRUNK)
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
        raise CollectionError(f"{path}: is not a readable zip ({shown(str(error))}); zip the photos again") from None
    except OSError as error:
        raise CollectionError(f"{path}: {error.strerror or error}; check the name") from None


def _checked(path: Path, archive: zipfile.ZipFile) -> tuple[list[zipfile.ZipInfo], set[str]]:
    """The members of a zip, in its order, after all checks that need no unpacking; and names of photos that are blank.

    Raises CollectionError.
    """
    members = archive.infolist()
    size = path.stat().st_size
    seen: dict[str, str] = {}
    blank: set[str] = set()
    for info in members:
        fault = fault_of_name(info.orig_filename) or fault_of_member(info, size)
        if fault == SHRUNK and info.filename.casefold().endswith(PHOTOS):
            blank.add(info.filename)
            fault = ""
        folded = unicodedata.normalize("NFC", info.orig_filename.rstrip("/")).casefold()
        if not fault and folded in seen:
            fault = f"has the same name as {seen[folded]}, or differs in case or accents only"
        if fault:
            raise _refused(path, info.orig_filename, fault)
        seen[folded] = shown(info.orig_filename)
    if sum(info.compress_size for info in members) > size:
        raise CollectionError(f"{path}: its members overlap; the zip is refused, zip the photos again")
    if sum(info.file_size for info in members if info.filename not in blank) > MOST_BYTES:
        raise CollectionError(f"{path}: unpacks to over {MOST_BYTES // 10**9} GB; zip fewer photos at a time")
    return members, blank


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
