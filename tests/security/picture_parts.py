"""Small pictures that this project makes itself, and their parts, to build hostile ones from."""

from __future__ import annotations

import base64
import io
import struct
import zlib
from functools import lru_cache
from typing import Any

import numpy as np
from PIL import Image

WIDTH, HEIGHT = 128, 96
# 96 x 64 px: red, and green to the right, blue below left. Encoded once, since nothing that is installed can.
HEIC = base64.b64decode(
    "AAAAHGZ0eXBoZWljAAAAAG1pZjFoZWljbWlhZgAAAVZtZXRhAAAAAAAAACFoZGxyAAAAAAAAAABwaWN0AAAAAAAAAAAAAAAAAAAAACJpbG9j"
    "AAAAAERAAAEAAQAAAAABegABAAAAAAAAAIgAAAAjaWluZgAAAAAAAQAAABVpbmZlAgAAAAABAABodmMxAAAAAA5waXRtAAAAAAABAAAA1mlw"
    "cnAAAAC3aXBjbwAAAHhodmNDAQNwAAAAkAAAAAAAHvAA/P34+AAADwNgAAEAGEABDAH//wNwAAADAJAAAAMAAAMAHroCQGEAAQArQgEBA3AA"
    "AAMAkAAAAwAAAwAeoDCBBZbqSSmubgIaAggAAAMAyAAAAwAIQGIAAQAHRAHBcrAiQAAAABNjb2xybmNseAABAA0AAYAAAAAUaXNwZQAAAAAA"
    "AABgAAAAQAAAABBwaXhpAAAAAAMICAgAAAAXaXBtYQAAAAAAAAABAAEEgQIDBAAAAJBtZGF0AAAAhCgBrxOAeNZTVEf//uNX7/v/Kf+4TJZC"
    "qC/wGF/9/nr/2yTg8ID8X4ynuEb3PZeJ6sabhqUAjXjqYN1/LPJ0qDi3D3aT562D/6j/+pjsj8GXR/42yX494yaQxGPpJMX3J/ur5JgJiu4V"
    "8/4lvr+teveJW/Jtwwr6B3ZIcIq0EqGnrSqE4A=="
)


@lru_cache(maxsize=1)
def picture() -> Image.Image:
    """A rough picture that is no good to the eye and plain to no decoder."""
    random = np.random.default_rng(7)
    rough = random.integers(0, 255, (12, 16, 3), dtype=np.uint8)
    return Image.fromarray(rough).resize((WIDTH, HEIGHT), Image.Resampling.BICUBIC)


def saved(image: Image.Image | None = None, kind: str = "JPEG", **options: Any) -> bytes:
    """An image as the bytes of a file."""
    out = io.BytesIO()
    (image or picture()).save(out, kind, **options)
    return out.getvalue()


def good_jpeg() -> bytes:
    """A photo with nothing wrong about it."""
    return saved(picture().resize((640, 480), Image.Resampling.BICUBIC), quality=85)


def chunk(name: bytes, data: bytes, crc: int | None = None) -> bytes:
    """One chunk of a PNG."""
    crc = zlib.crc32(name + data) if crc is None else crc
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", crc)


def png(width: int, height: int, *chunks: bytes, depth: int = 8, colour: int = 2, rows: bytes | None = None) -> bytes:
    """A PNG with the size that it says and the rows that it is given, which need not agree."""
    header = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0))
    body = b"" if rows is None else chunk(b"IDAT", zlib.compress(rows, 9))
    return b"\x89PNG\r\n\x1a\n" + header + b"".join(chunks) + body + chunk(b"IEND", b"")


def with_chunk(data: bytes, *chunks: bytes) -> bytes:
    """A PNG with more chunks after its header."""
    return data[:33] + b"".join(chunks) + data[33:]


def segment(marker: int, data: bytes) -> bytes:
    """One segment of a JPEG."""
    return bytes((0xFF, marker)) + struct.pack(">H", len(data) + 2) + data


def with_segment(data: bytes, *segments: bytes) -> bytes:
    """A JPEG with more segments at its start."""
    return data[:2] + b"".join(segments) + data[2:]


def box(name: bytes, data: bytes) -> bytes:
    """One box of a HEIC, or of a film."""
    return struct.pack(">I", len(data) + 8) + name + data


def webp_of(*chunks: tuple[bytes, bytes]) -> bytes:
    """A WebP made of chunks."""
    body = b"".join(name + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2) for name, data in chunks)
    return b"RIFF" + struct.pack("<I", len(body) + 4) + b"WEBP" + body


def exif(orientation: object = None, **more: Any) -> bytes:
    """EXIF as PIL writes it; ``more`` are tags by number, as t271="maker"."""
    made = Image.Exif()
    if orientation is not None:
        made[0x0112] = orientation
    for tag, value in more.items():
        made[int(tag[1:])] = value
    return made.tobytes()


def turned_heic(quarters: int) -> bytes:
    """The HEIC above to be turned anticlockwise by quarters when it is shown, as telephones write it."""
    data = bytearray(HEIC)
    listed = data.index(b"\x04\x81\x02\x03\x04")
    data[listed : listed + 5] = b"\x05\x81\x02\x03\x04\x85"
    turn = box(b"irot", bytes((quarters,)))
    end = data.index(b"ipma") - 4
    data[end:end] = turn
    for name, more in ((b"ipma", 1), (b"ipco", len(turn)), (b"iprp", len(turn) + 1), (b"meta", len(turn) + 1)):
        at = data.index(name) - 4
        data[at : at + 4] = struct.pack(">I", int.from_bytes(data[at : at + 4]) + more)
    at = data.index(b"iloc") + 16  # where the picture's data lie
    data[at : at + 4] = struct.pack(">I", data.index(b"mdat") + 4)
    return bytes(data)


def _seeds() -> dict[str, bytes]:
    random = np.random.default_rng(9)
    deep = Image.fromarray(random.integers(0, 65535, (HEIGHT, WIDTH)).astype(np.uint16))
    other = picture().transpose(Image.Transpose.ROTATE_180)
    return {
        "jpeg": saved(quality=60),
        "jpeg progressive": saved(quality=60, progressive=True, exif=exif(6, t271="maker")),
        "jpeg cmyk": saved(picture().convert("CMYK"), quality=40),
        "png": saved(kind="PNG"),
        "png palette": saved(picture().quantize(16), "PNG", transparency=3),
        "png 16 bit": saved(deep, "PNG"),
        "png animation": saved(picture(), "PNG", save_all=True, append_images=[other]),
        "webp": saved(kind="WEBP", quality=50, exif=exif(3)),
        "webp lossless": saved(kind="WEBP", lossless=True),
        "webp animation": saved(picture(), "WEBP", save_all=True, append_images=[other]),
        "heic": HEIC,
    }


SEEDS = _seeds()
