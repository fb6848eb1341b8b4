"""What is uploaded: how much, and where it lies until it is taken in. Each file has a folder that no one can guess."""

from __future__ import annotations

import os
import re
import secrets
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response

from app.web.guard import STRANGE, Refusal

LARGEST_FILE = 25_000_000  # bytes
LARGEST = 1_000_000_000  # bytes sent in one go
MOST_AT_ONCE = 500  # files in one go
MOST_WAITING, MOST_BYTES = 2000, 2_000_000_000  # files and bytes that lie in the folder of uploads
LEFT = 500_000_000  # bytes that stay free on the disk
DAY = 86_400.0  # seconds
# Names that mean a device on Windows, and what no file's name may hold there.
DEVICE = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\.|$)", re.IGNORECASE)
ODD = re.compile(r'[\x00-\x1f\x7f<>:"|?*]')
LONGEST_NAME = 100


class Uploads:
    """Takes files in for the pages, instead of gradio: that puts the same file of two people into one place."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.coming = 0

    async def take(self, request: Request) -> Response:
        """Keep the files of a form; their places as gradio's page expects them."""
        try:
            length = _length(request)
            with self._room(length):
                return JSONResponse(await self._keep(request))
        except Refusal as no:
            return PlainTextResponse(no.why, no.status)
        except OSError as error:
            why = f"It cannot be kept ({error.strerror or 'no room'}); free some space and try again."
            return PlainTextResponse(why, 507)

    async def _keep(self, request: Request) -> list[str]:
        try:
            form = await request.form(max_files=MOST_AT_ONCE, max_fields=10)
        except (HTTPException, MultiPartException) as error:
            many = f"That is over {MOST_AT_ONCE} files in one go; choose fewer."
            raise Refusal(400, many if "Too many files" in str(error) else STRANGE) from None
        try:
            files = [value for _, value in form.multi_items() if isinstance(value, UploadFile)]
            for file in files:
                if (file.size or 0) > LARGEST_FILE:
                    why = f"{plain_name(file.filename)}: is over {LARGEST_FILE / 1e6:g} MB; export it smaller."
                    raise Refusal(413, why)
            if not files:
                raise Refusal(400, "Nothing arrived whole; choose the files again.")
            return [await run_in_threadpool(self._write, file.filename, file.file) for file in files]
        finally:
            await form.close()

    def _write(self, name: str | None, data: IO[bytes]) -> str:
        folder = self.folder / secrets.token_urlsafe(16)
        folder.mkdir(parents=True)
        kept = folder / plain_name(name)
        with kept.open("xb") as out:
            shutil.copyfileobj(data, out)
        return str(kept)

    @contextmanager
    def _room(self, length: int) -> Iterator[None]:
        """Keep room for an upload while it comes. Raises Refusal where there is none."""
        if length > LARGEST:
            raise Refusal(413, f"That is over {LARGEST / 1e9:g} GB in one go; choose fewer photos at a time.")
        drop_old(self.folder)
        files, size = _held(self.folder)
        if files >= MOST_WAITING or size + self.coming + length > MOST_BYTES:
            raise Refusal(413, "Too many photos wait already; say what those show or throw them away, then try again.")
        self.folder.mkdir(parents=True, exist_ok=True)
        if shutil.disk_usage(self.folder).free - self.coming - length < LEFT:
            raise Refusal(507, "The disk is nearly full; free some space and try again.")
        self.coming += length
        try:
            yield
        finally:
            self.coming -= length


def plain_name(name: str | None) -> str:
    """The name of a file without folders, and without what some system cannot hold.

    >>> plain_name("..\\\\..\\\\a/leaf.jpg"), plain_name("CON.jpg"), plain_name("..")
    ('leaf.jpg', '_CON.jpg', 'photo')
    """
    last = ODD.sub("_", re.split(r"[/\\]", name or "")[-1]).strip(". ")
    last = last.encode("utf-8", "replace").decode("utf-8")
    if len(last) > LONGEST_NAME:
        stem, dot, ending = last.rpartition(".")
        last = f"{stem[: LONGEST_NAME - 6]}{dot}{ending[:5]}" if dot else last[:LONGEST_NAME]
    return f"_{last}" if DEVICE.match(last) else last or "photo"


def put_away(file: Path) -> None:
    """Remove an upload that was taken in, with its folder if that is empty."""
    with suppress(OSError):
        file.unlink(missing_ok=True)
        file.parent.rmdir()


def drop_old(folder: Path, age: float = DAY) -> None:
    """Remove what was uploaded over a day ago: whoever chose it has left."""
    for group in (folder, folder / "waiting"):
        with suppress(OSError):
            for one in list(group.iterdir()):
                if one.name != "waiting" and time.time() - one.lstat().st_mtime > age:
                    shutil.rmtree(one, ignore_errors=True)


def _held(folder: Path) -> tuple[int, int]:
    """Files in a folder, and their bytes; one that goes meanwhile does not count."""
    files = size = 0
    for at, _, names in os.walk(folder):
        for name in names:
            with suppress(OSError):
                size += (Path(at) / name).lstat().st_size
                files += 1
    return files, size


def _length(request: Request) -> int:
    headers: Any = request.headers
    text = headers.get("content-length", "")
    if not headers.get("content-type", "").startswith("multipart/form-data"):
        raise Refusal(415, STRANGE)
    if "transfer-encoding" in headers or not (text.isascii() and text.isdigit() and len(text) < 15):
        raise Refusal(411, STRANGE)
    return int(text)
