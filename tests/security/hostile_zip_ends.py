"""Zips whose end, or list of members, says what is not so."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator


def lies(good: bytes) -> Iterator[tuple[str, bytes]]:
    """Zips whose end says what is not so."""
    end64 = struct.pack("<4sQ2H2L4Q", b"PK\x06\x06", 44, 45, 45, 0, 0, 2, 2, 120_000_000, 0) + struct.pack(
        "<4sLQL", b"PK\x06\x07", 0, 0, 1
    )
    yield "64-bit end that lies", good[:-22] + end64 + good[-22:]
    yield (
        "signs of an end within the end",
        good[:-22] + b"PK\x05\x06" + struct.pack("<4H", 0, 0, 1, 1) + b"PK\x05\x06" + good[-6:],
    )
    yield "two ends", good + good[-22:]
    yield (
        "list of members for ever",
        good[:-22]
        + _listed(400_000)
        + struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, 1, 1, 400_000 * 47, len(good) - 22, 0),
    )
    yield "one place for all", _overlapping(2000)
    for name, at, value in ends(good):
        yield name, good[: len(good) - 22 + at] + value + good[len(good) - 22 + at + len(value) :]
    for data in (b"", b"PK", b"PK\x03\x04", b"PK\x05\x06" + b"\xff" * 18, b"\0" * 100_000, b"Rar!\x1a\x07"):
        yield f"{data[:8]!r}", data


def ends(good: bytes) -> Iterator[tuple[str, int, bytes]]:
    """Lies in the end of a zip: a name, a place in its last 22 bytes, and what is put there."""
    for place, field in ((4, "disk"), (8, "members here"), (10, "members"), (20, "comment")):
        for value in (1, 255, 65535):
            yield f"end says {field} {value}", place, struct.pack("<H", value)
    for place, field in ((12, "size of the list"), (16, "place of the list")):
        for number in (0, 1, len(good), 2**31, 2**32 - 1):
            yield f"end says {field} {number}", place, struct.pack("<L", number)


def _listed(count: int) -> bytes:
    """A list of so many members, each of the shortest form."""
    return (b"PK\x01\x02" + b"\0" * 24 + struct.pack("<H", 1) + b"\0" * 16 + b"a") * count


def _overlapping(count: int) -> bytes:
    """Many members that are all unpacked from one place."""
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    data = packer.compress(b"\0" * 900_000) + packer.flush()
    crc, names = zlib.crc32(b"\0" * 900_000), [f"dandelion/{n:06}.jpg".encode() for n in range(count)]
    local = struct.pack("<4s5H3L2H", b"PK\x03\x04", 20, 0, 8, 0, 33, crc, 9100, 900_000, 15, 0) + b"dandelion/a.jpg"
    entry = struct.pack("<4s6H3L5H2L", b"PK\x01\x02", 20, 20, 0, 8, 0, 33, crc, 9100, 900_000, 20, *[0] * 6)
    listed = b"".join(entry + name for name in names)
    return (
        local
        + data
        + listed
        + struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, count, count, len(listed), len(local + data), 0)
    )
