"""What else a picture's file holds: archives, pages or programs behind or within it.

A file may be a picture to one program and an archive or a page to another (a polyglot). Cameras
do put things behind the picture: a short film, a second picture, a depth map, padding. Those
are left behind when the pixels are taken out, and are no reason to refuse the photo.
"""

from __future__ import annotations

import re
import struct

PDF_WITHIN = 1024  # bytes from the start in which readers look for the head of a PDF
ZIP_WITHIN = 65_557  # bytes from the end in which the directory of a zip may end
# Found anywhere behind the picture. Each is long enough not to turn up by chance in a film.
_ANYWHERE = {
    "an archive": re.compile(
        rb"PK\x03\x04[\x0a-\x3f]\x00..[\x00\x08\x09\x0c\x0e]\x00|Rar!\x1a\x07|7z\xbc\xaf\x27\x1c", re.S
    ),
    "a document": re.compile(rb"%PDF-\d"),
    "a page or script": re.compile(rb"<(html|script|iframe|!doctype|\?php)[\s>]", re.I),
}
# Found where the picture ends, but for padding.
_FIRST = {
    "a program": (b"MZ", b"\x7fELF", b"#!", b"\xca\xfe\xba\xbe", b"\xcf\xfa\xed\xfe", b"\xfe\xed\xfa\xcf"),
    "an archive": (b"\x1f\x8b\x08", b"BZh", b"\xfd7zXZ\x00", b"!<arch>"),
    "a page or script": (b"<svg", b"<?xml"),
}
_PADDING = b"\x00\xff \r\n\t"
_MARKER = re.compile(rb"\xff[\x01-\xcf\xd8-\xfe]")  # of a JPEG: neither a stuffed byte, a restart nor padding


def foreign_part(data: bytes, kind: str) -> str:
    """What the file is besides a picture, in two words, or "" where it is nothing else.

    ``data`` is the whole file; ``kind`` its format as PIL names it.
    """
    if b"%PDF-" in data[:PDF_WITHIN]:
        return "a document"
    if _ends_as_zip(data):
        return "an archive"
    tail = data[_END[kind](data) :] if kind in _END else b""
    for what, sign in _ANYWHERE.items():
        if sign.search(tail):
            return what
    bare = tail.lstrip(_PADDING)
    return next((what for what, signs in _FIRST.items() if bare.startswith(signs)), "")


def _ends_as_zip(data: bytes) -> bool:
    """Whether a zip's directory ends the file; its entries may lie anywhere before."""
    start = data.rfind(b"PK\x05\x06", max(0, len(data) - ZIP_WITHIN))
    if start < 0 or start + 22 > len(data):
        return False
    size, comment = struct.unpack("<I", data[start + 12 : start + 16])[0], data[start + 20 : start + 22]
    whole = start + 22 + int.from_bytes(comment, "little") == len(data)
    return whole or (size <= start and data[start - size : start - size + 4] == b"PK\x01\x02")


def _end_of_jpeg(data: bytes) -> int:
    """Where the first picture of a JPEG file ends; the file's length where it has no end."""
    at = 2
    while found := _MARKER.search(data, at):
        marker, at = data[found.start() + 1], found.end()
        if marker == 0xD9:
            return at
        if marker not in (0x01, 0xD8):  # these two have no length
            at += int.from_bytes(data[at : at + 2])
    return len(data)


def _end_of_png(data: bytes) -> int:
    at = 8
    while at + 8 <= len(data):
        size, name = int.from_bytes(data[at : at + 4]), data[at + 4 : at + 8]
        at += 12 + size
        if name == b"IEND":
            return at
    return len(data)


def _end_of_webp(data: bytes) -> int:
    size = int.from_bytes(data[4:8], "little")
    return 8 + size + size % 2


def _end_of_heif(data: bytes) -> int:
    """After the last of the boxes; what is no box begins the tail."""
    at = 0
    while at + 8 <= len(data):
        size, name = int.from_bytes(data[at : at + 4]), data[at + 4 : at + 8]
        if size == 1:
            size = int.from_bytes(data[at + 8 : at + 16])
        if not name.isalnum() or size == 0 or size < 8 or at + size > len(data):
            return len(data) if name.isalnum() and size == 0 else at
        at += size
    return at


_END = {
    "JPEG": _end_of_jpeg,
    "MPO": _end_of_jpeg,
    "PNG": _end_of_png,
    "WEBP": _end_of_webp,
    "HEIF": _end_of_heif,
}
