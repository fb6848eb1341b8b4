"""What is uploaded: how much at a time, and where it lies until it is taken in."""

from __future__ import annotations

import asyncio
import json
import os
import re
import secrets
import shutil
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from anyio import to_thread

from app.services.home import home, why_unsaved
from app.web.frame import FormError, without_surrogates
from app.web.upload_types import truncate_unsupported

LARGEST_FILE = 25_000_000  # bytes
LARGEST = LARGEST_FILE + 100_000  # bytes of a request, with what a form has around its file
MOST_WAITING, MOST_BYTES = 2000, 2_000_000_000  # files and bytes that lie in the folder of uploads
LEAST_FREE = 500_000_000  # bytes of the disk
HOUR, MINUTE = 3600.0, 60.0  # seconds
IN_MEMORY = "/dev/shm"  # a folder that no disk has to hold
TEMPORARY_PREFIX = "swardkey-uploads-"  # how a temporary folder for them begins
# Names that mean a device on Windows, and what no file's name may hold there.
DEVICE = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\.|$)", re.IGNORECASE)
ODD = re.compile(r'[\x00-\x1f\x7f<>:"|?*]')
LONGEST_NAME = 100


def make_upload_folder() -> Path:
    """An empty folder for uploads: the user's, or a temporary one where that disk has no room. Raises FormError."""
    folder = home() / "uploads"
    # Uploads of a run before: whoever chose them has left.
    shutil.rmtree(folder, ignore_errors=True)
    try:
        if not why_unsaved():
            folder.mkdir(parents=True, exist_ok=True)
            if shutil.disk_usage(folder).free >= LEAST_FREE:
                return folder
        _remove_left_folders()
        return Path(tempfile.mkdtemp(prefix=TEMPORARY_PREFIX, dir=_temporary_with_room()))
    except OSError as error:
        why = error.strerror or error
        raise FormError(f"no temporary folder can be written to ({why}); set TMPDIR to one that can be") from None


def _temporary_with_room() -> str:
    """A temporary folder with room for uploads; that of the system, should none have it."""
    system = tempfile.gettempdir()
    writable = [place for place in (system, IN_MEMORY) if os.access(place, os.W_OK)]
    return next((place for place in writable if shutil.disk_usage(place).free >= LEAST_FREE), system)


def _remove_left_folders() -> None:
    """Remove temporary folders of runs that were killed: nobody has touched them for an hour."""
    places = (tempfile.gettempdir(), IN_MEMORY)
    for old in (old for place in places for old in Path(place).glob(f"{TEMPORARY_PREFIX}*")):
        with suppress(OSError):
            if time.time() - old.lstat().st_mtime > HOUR:
                shutil.rmtree(old, ignore_errors=True)


class Refusal(Exception):  # noqa: N818 - an answer, not a fault
    """Why a request is not let in, and the status that says so."""

    def __init__(self, status: int, why: str, **headers: str) -> None:
        super().__init__(why)
        self.status, self.why, self.headers = status, why, headers


class Uploads:
    """The folder into which gradio writes uploads, and how much may lie there."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder.resolve()
        self.coming = 0

    async def sweep(self) -> None:
        """Remove what is old, again and again, until it is cancelled."""
        while True:
            await to_thread.run_sync(remove_expired, self.folder)
            await asyncio.sleep(MINUTE)

    @contextmanager
    def room(self, headers: Mapping[str, str]) -> Iterator[None]:
        """Keep room for an upload while it comes. Raises Refusal where there is none."""
        length = _length(headers)
        if length > LARGEST:
            raise Refusal(413, f"A file may have {LARGEST_FILE / 1e6:g} MB; export it smaller.")
        remove_expired(self.folder)
        files, size = _held(self.folder)
        if files >= MOST_WAITING or size + self.coming + length > MOST_BYTES:
            raise Refusal(413, "Too many photos are waiting; name or discard those first, then try again.")
        self.folder.mkdir(parents=True, exist_ok=True)
        if shutil.disk_usage(self.folder).free - self.coming - length < LEAST_FREE:
            raise Refusal(
                507, "The disk is nearly full; free space on it, or restart swardkey to keep photos elsewhere."
            )
        self.coming += length
        try:
            yield
        finally:
            self.coming -= length
            if not self.coming:  # what lies in no folder of its own broke off half-way
                remove_partial(self.folder)

    def truncate_unsupported(self, answer: bytes) -> None:
        """Cut short what has arrived and no page takes. ``answer``: a JSON list of paths, as gradio gives it."""
        with suppress(ValueError):
            paths = json.loads(answer)
            for path in paths if isinstance(paths, list) else ():
                with suppress(FormError):
                    truncate_unsupported(self.find(path))

    def find(self, path: object) -> Path:
        """An upload by the path that gradio gave for it. Raises FormError for any other file."""
        if isinstance(path, str) and "\0" not in path and "://" not in path and path == without_surrogates(path):
            # As it is written; a link that leads elsewhere is none of ours.
            found = Path(os.path.abspath(path))  # noqa: PTH100
            real = Path(os.path.realpath(found))
            if found.is_relative_to(self.folder) and real.is_relative_to(self.folder) and found.is_file():
                return found
        raise FormError("A file did not arrive; choose it again.")

    def claim(self, path: object, name: object) -> Path:
        """Move an upload into a folder of its own, under the name that its owner knows. Raises FormError."""
        file, folder = self.find(path), self.folder / secrets.token_urlsafe(16)
        try:
            folder.mkdir()
            return file.rename(folder / plain_name(name if isinstance(name, str) else ""))
        except OSError:
            raise FormError("A file did not arrive; choose it again.") from None


def plain_name(name: str) -> str:
    """The name of a file without folders, and without what some system cannot hold.

    >>> plain_name("..\\\\..\\\\a/leaf.jpg"), plain_name("CON.jpg"), plain_name("..")
    ('leaf.jpg', '_CON.jpg', 'photo')
    """
    last = ODD.sub("_", re.split(r"[/\\]", name)[-1]).strip(". ")
    last = last.encode("utf-8", "replace").decode("utf-8")
    if len(last) > LONGEST_NAME:
        stem, dot, ending = last.rpartition(".")
        last = f"{stem[: LONGEST_NAME - 6]}{dot}{ending[:5]}" if dot else last[:LONGEST_NAME]
    return f"_{last}" if DEVICE.match(last) else last or "photo"


def remove_upload(file: Path) -> None:
    """Remove an upload that was taken in, with its folder if that is empty."""
    with suppress(OSError):
        file.unlink(missing_ok=True)
        file.parent.rmdir()


def remove_expired(folder: Path) -> None:
    """Remove what nobody has touched for an hour: whoever chose it has left."""
    for group in (folder, folder / "waiting"):
        with suppress(OSError):
            for one in list(group.iterdir()):
                if one.name == "waiting" or time.time() - one.lstat().st_mtime <= HOUR:
                    continue
                if one.is_dir():
                    shutil.rmtree(one, ignore_errors=True)
                else:  # half an upload
                    one.unlink(missing_ok=True)


def remove_partial(folder: Path) -> None:
    """Remove files that lie in the folder itself: those that are being written."""
    with suppress(OSError):
        for one in folder.iterdir():
            if not one.is_dir():
                one.unlink(missing_ok=True)


def _held(folder: Path) -> tuple[int, int]:
    """Files in a folder, and their bytes; one that goes meanwhile does not count."""
    files = size = 0
    for at, _, names in os.walk(folder):
        for name in names:
            with suppress(OSError):
                size += (Path(at) / name).lstat().st_size
                files += 1
    return files, size


def _length(headers: Mapping[str, str]) -> int:
    text = headers.get("content-length", "")
    if not headers.get("content-type", "").startswith("multipart/form-data"):
        raise Refusal(415, "Files come as a form.")
    if "transfer-encoding" in headers or not (text.isascii() and text.isdigit() and len(text) < 15):
        raise Refusal(411, "The size of the upload is not known.")
    return int(text)
