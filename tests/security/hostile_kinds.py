"""The kinds of hostile pictures: each a function that makes its files, always the same ones."""

from __future__ import annotations

import os
import struct
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from model.photo.decode import LARGEST_BYTES
from tests.security import picture_parts as parts
from tests.security.picture_parts import HEIC, SEEDS, box, chunk, exif, picture, png, saved, segment, webp_of


@dataclass(frozen=True)
class Made:
    """One hostile file: what it is, and whether opening it ends in "photo", "refused" or "either"."""

    kind: str
    name: str
    ends: str
    data: bytes | Callable[[Path], None] = b""
    file: str | bytes = "weed.jpg"

    def write(self, folder: Path) -> Path:
        """Make the file in a folder. Raises OSError where the disk does not take its name."""
        path = Path(os.fsdecode(os.path.join(os.fsencode(folder), os.fsencode(self.file))))  # noqa: PTH118 - of bytes
        if callable(self.data):
            self.data(path)
        else:
            path.write_bytes(self.data)
        return path


Files = Iterator[
    tuple[Any, ...]
]  # of each: its name, how it ends, its content, and the name of its file if that matters
KINDS: dict[str, Callable[[], Iterator[Made]]] = {}


def kind(name: str) -> Callable[[Callable[[], Files]], Callable[[], Files]]:
    """Enter what a function makes as one of KINDS."""

    def enter(make: Callable[[], Files]) -> Callable[[], Files]:
        KINDS[name] = lambda: (Made(name, *one) for one in make())
        return make

    return enter


@kind("empty")
def empty() -> Files:
    """Nothing, or the first bytes of each format alone."""
    yield ("no byte", "refused")
    for (name, data), length in product(SEEDS.items(), (1, 4, 12)):
        yield (f"{name}, {length} bytes", "refused", data[:length])


@kind("truncated")
def truncated() -> Files:
    """Cut short in many places; of an animation, the first picture may be whole."""
    for name, data in SEEDS.items():
        for share in (0.1, 0.3, 0.5, 0.7, 0.9):
            ends = "either" if "animation" in name else "refused"
            yield (f"{name} at {share}", ends, data[: int(len(data) * share)])


@kind("tiny")
def tiny() -> Files:
    """Too small to show a plant."""
    for form, size in product(("JPEG", "PNG", "WEBP"), ((1, 1), (2, 2), (63, 63), (1, 64), (64, 1), (63, 700))):
        yield (f"{form} {size}", "refused", saved(picture().resize(size), form))
    yield ("PNG of no width", "refused", png(0, 100, rows=b""))
    yield ("PNG of no height", "refused", png(100, 0, rows=b""))


@kind("strip")
def strips() -> Files:
    """Far longer than wide."""
    for form, size in product(("JPEG", "PNG"), ((30000, 1), (1, 30000), (30000, 70), (70, 30000), (1281, 100))):
        yield (f"{form} {size}", "refused", saved(Image.new("RGB", size), form))
    yield ("WebP", "refused", saved(Image.new("RGB", (16000, 70)), "WEBP"))
    yield ("as PNG says, 2^31 x 64", "refused", png(2**31 - 1, 64, rows=b"\0"))


@kind("large by word")
def large_by_word() -> Files:
    """The head promises far more pixels than a photo has."""
    for width, height in ((8193, 6144), (10_000, 10_000), (13_000, 13_000), (65_535, 65_535), (2**31 - 1, 2**31 - 1)):
        for depth, colour in ((1, 0), (8, 2), (16, 6)):
            name = f"PNG {width} x {height}, {depth} bit, colour {colour}"
            yield (name, "refused", png(width, height, depth=depth, colour=colour, rows=bytes(9)))
    for width, height in ((20_000, 20_000), (65_535, 65_535), (65_000, 6_500)):
        data = bytearray(SEEDS["jpeg"])
        at = data.index(b"\xff\xc0") + 5
        data[at : at + 4] = struct.pack(">HH", height, width)
        yield (f"JPEG {width} x {height}", "refused", bytes(data))
    for side in (9_000, 16_384):
        lossless = bytearray(SEEDS["webp lossless"])
        at = lossless.index(b"VP8L") + 9
        lossless[at : at + 4] = struct.pack("<I", (side - 1) | (side - 1) << 14)
        yield (f"WebP {side} x {side}", "refused", bytes(lossless))
    data = HEIC.replace(
        b"ispe\0\0\0\0" + struct.pack(">II", 96, 64), b"ispe\0\0\0\0" + struct.pack(">II", 60000, 60000)
    )
    yield ("HEIC 60000 x 60000", "refused", data)


@kind("bomb")
def bombs() -> Files:
    """Little on the disk, much when unpacked."""
    zeros = zlib.compress(bytes(60_000_000), 9)
    good = SEEDS["png"]
    yield ("text of a PNG", "either", parts.with_chunk(good, chunk(b"zTXt", b"Comment\0\0" + zeros)))
    long = chunk(b"iTXt", b"Comment\0\1\0\0\0" + zeros)
    yield ("international text of a PNG", "either", parts.with_chunk(good, long))
    yield ("colour profile of a PNG", "either", parts.with_chunk(good, chunk(b"iCCP", b"x\0\0" + zeros)))
    rows = chunk(b"tEXt", b"Comment\0" + b"a" * 900)
    yield ("ten thousand texts", "either", parts.with_chunk(good, *[rows] * 10_000))
    yield ("more rows than the head says", "either", png(128, 96, rows=bytes(60_000_000)))
    flat = np.zeros((6144, 8192), bool)
    yield ("50 megapixels of one colour", "photo", saved(Image.fromarray(flat), "PNG"))
    yield ("50 megapixels of 16 bits", "photo", png(8192, 6144, depth=16, colour=0, rows=bytes(6144 * 16385)))
    clear = png(8192, 6144, depth=8, colour=6, rows=bytes(6144 * (8192 * 4 + 1)))
    yield ("50 megapixels, clear", "photo", clear)
    yield ("over 25 MB", "refused", parts.good_jpeg() + bytes(LARGEST_BYTES))
    yield ("as many scans as fit", "either", many_scans(20_000), "scans.jpg")
    yield ("comments of 20 MB", "photo", parts.with_segment(SEEDS["jpeg"], *[segment(0xFE, bytes(65_000))] * 300))


def many_scans(count: int, size: tuple[int, int] = (6000, 4000)) -> bytes:
    """A progressive JPEG whose last scan comes again and again: each costs a pass over all blocks."""
    data = saved(Image.new("RGB", size, (90, 120, 60)), quality=30, progressive=True)
    last = data.rindex(b"\xff\xda")
    head = data.rindex(b"\xff\xc4", 0, last)
    return data[:-2] + data[head:-2] * count + b"\xff\xd9"


@kind("wrong name")
def wrong_names() -> Files:
    """The name says one format and the content is another; only what is inside counts."""
    for (name, data), ending in product(SEEDS.items(), ("jpg", "png", "exe")):
        yield (f"{name} as .{ending}", "photo", data, f"weed.{ending}")
    for form in ("GIF", "BMP", "TIFF", "ICO", "PPM", "TGA", "PCX", "JPEG2000", "EPS", "SGI", "DDS", "AVIF"):
        try:
            data = saved(picture(), form)
        except (OSError, KeyError):  # what is installed cannot write it
            continue
        yield (f"{form} as .jpg", "refused", data)


ZIP = b"PK\x03\x04\x14\0\0\0\x08\0" + bytes(16) + b"\1\0\0\0a" + b"PK\x01\x02" + bytes(43) + b"PK\x05\x06" + bytes(8)
ZIP += struct.pack("<IIH", 47, 31, 0)
FOREIGN = {
    "zip": ZIP,
    "page": b"<!DOCTYPE html><html><body><script>alert(1)</script></body></html>",
    "program": b"\x7fELF\x02\x01\x01" + bytes(60),
}


@kind("polyglot")
def polyglots() -> Files:
    """A picture that is an archive, a page or a program to another program: only its pixels are kept, if it opens."""
    for name, (what, more) in product(("jpeg", "png", "webp", "heic"), FOREIGN.items()):
        yield f"{name} and {what}", "either", SEEDS[name] + more
    yield "page in a comment", "either", parts.with_segment(SEEDS["jpeg"], segment(0xFE, FOREIGN["page"]))
    yield "zip in a chunk of a PNG", "either", parts.with_chunk(SEEDS["png"], chunk(b"zIPs", ZIP))
    yield "page before the picture", "refused", FOREIGN["page"] + SEEDS["jpeg"]
    yield "zip before the picture", "refused", ZIP + SEEDS["png"]


@kind("camera tail")
def camera_tails() -> Files:
    """What cameras put behind a picture; it is left behind and the photo opens."""
    film = (
        box(b"ftyp", b"mp42\0\0\0\0mp42isom")
        + box(b"mdat", np.random.default_rng(3).bytes(200_000))
        + box(b"moov", b"")
    )
    for name in ("jpeg", "jpeg progressive", "heic"):
        yield (f"{name} and a film", "photo", SEEDS[name] + film)
    for name in ("jpeg", "png", "webp"):
        yield (f"{name} and padding", "photo", SEEDS[name] + bytes(4096))
        yield (f"{name} and noise", "photo", SEEDS[name] + b"\x17" + np.random.default_rng(4).bytes(9_000))
    yield ("a second picture", "photo", SEEDS["jpeg"] + SEEDS["jpeg cmyk"])
    yield ("a thumbnail in the head", "photo", parts.with_segment(SEEDS["jpeg"], segment(0xE1, b"x" + SEEDS["jpeg"])))


@kind("colours")
def colours() -> Files:
    """Every mode and depth that the formats have."""
    for mode in ("L", "LA", "P", "PA", "RGB", "RGBA", "CMYK", "1", "I;16", "YCbCr"):
        for form in ("JPEG", "PNG", "WEBP"):
            try:
                data = saved(_in_mode(mode), form)
            except (OSError, ValueError, KeyError):  # this format has no such mode
                continue
            yield (f"{form} {mode}", "photo", data)
    noise = np.random.default_rng(5)
    for depth, colour in ((1, 0), (2, 0), (4, 0), (8, 0), (16, 0), (8, 2), (16, 2), (8, 4), (16, 4), (8, 6), (16, 6)):
        width = -(-128 * depth * {0: 1, 2: 3, 4: 2, 6: 4}[colour] // 8)
        rows = b"".join(b"\0" + noise.bytes(width) for _ in range(96))
        for clear in (b"", chunk(b"tRNS", {0: b"\0\1", 2: b"\0\1\0\2\0\3"}.get(colour, b""))):
            name = f"PNG {depth} bit, colour {colour}{', one clear' if clear else ''}"
            ends = "either" if clear and colour in (4, 6) else "photo"
            yield (name, ends, png(128, 96, clear, depth=depth, colour=colour, rows=rows))
    for depth, colour in ((3, 0), (16, 3), (0, 2), (8, 5), (32, 2), (4, 6)):
        yield (f"PNG {depth} bit, colour {colour}", "refused", png(128, 96, depth=depth, colour=colour, rows=bytes(99)))


def _in_mode(mode: str) -> Image.Image:
    if mode == "I;16":
        return Image.fromarray(np.asarray(picture().convert("L")).astype(np.uint16) * 257)
    return picture().convert("L").convert(mode) if mode == "PA" else picture().convert(mode)


@kind("orientation")
def orientations() -> Files:
    """All eight, and values that mean nothing."""
    for form, value in product(("JPEG", "PNG", "WEBP"), (*range(10), 255, 65_535)):
        yield (f"{form} {value}", "photo", saved(None, form, exif=exif(value)))
    for quarters in range(4):
        yield (f"HEIC {quarters} quarters", "photo", parts.turned_heic(quarters))
    said = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'><rdf:Description tiff:Orientation='6'/></x:xmpmeta>"
    yield (
        "in XMP",
        "photo",
        parts.with_segment(SEEDS["jpeg"], segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + said)),
    )


@kind("animation")
def animations() -> Files:
    """Many pictures in one file; the first one counts."""
    random = np.random.default_rng(6)
    frames = [Image.fromarray(random.integers(0, 255, (96, 128, 3), dtype=np.uint8)) for _ in range(30)]
    for form, count in product(("PNG", "WEBP"), (2, 30)):
        yield (f"{form} of {count}", "photo", saved(picture(), form, save_all=True, append_images=frames[:count]))
    broken = bytearray(SEEDS["webp animation"])
    broken[-40:] = bytes(40)
    yield ("WebP, its last picture broken", "either", bytes(broken))
    moved = SEEDS["png animation"].replace(b"acTL\0\0\0\2", b"acTL\xff\xff\xff\xff")
    yield ("PNG of four thousand million", "either", moved)
    film = box(b"ftyp", b"mp42\0\0\0\0mp42isom") + box(b"mdat", bytes(2000))
    yield ("a film as .jpg", "refused", film)


@kind("metadata")
def metadata() -> Files:
    """Metadata that are damaged, endless or full of other things."""
    loop = b"II*\0\x08\0\0\0" + struct.pack("<H", 1) + struct.pack("<HHII", 0x8769, 4, 1, 8) + struct.pack("<I", 8)
    many = b"MM\0*\0\0\0\x08" + struct.pack(">H", 65_535) + bytes(600)
    huge = b"II*\0\x08\0\0\0" + struct.pack("<H", 1) + struct.pack("<HHII", 0x0112, 3, 2**32 - 1, 2**31) + bytes(4)
    text = b"II*\0\x08\0\0\0" + struct.pack("<H", 1) + struct.pack("<HHII", 0x0112, 2, 4, 0x36003600) + bytes(4)
    far = b"II*\0\xff\xff\xff\x7f" + bytes(100)
    laughs = b"<?xml version='1.0'?><!DOCTYPE a [<!ENTITY b 'ha'>" + b"".join(
        b"<!ENTITY %c '%s'>" % (99 + i, b"&%c;" % (98 + i) * 10) for i in range(9)
    )
    xmp = laughs + b"]><x:xmpmeta tiff:Orientation='6'>&k;</x:xmpmeta>"
    blocks = {
        "loop": loop,
        "many tags": many,
        "huge count": huge,
        "text": text,
        "far away": far,
        "noise": bytes(range(256)) * 40,
    }
    for what, block in blocks.items():
        jpeg = parts.with_segment(SEEDS["jpeg"], segment(0xE1, b"Exif\0\0" + block))
        yield (f"EXIF {what} in a JPEG", "photo", jpeg)
        yield (f"EXIF {what} in a PNG", "photo", parts.with_chunk(SEEDS["png"], chunk(b"eXIf", block)))
        webp = webp_of(
            (b"VP8X", b"\x08\0\0\0" + struct.pack("<I", 127)[:3] + struct.pack("<I", 95)[:3]),
            (b"VP8 ", _vp8()),
            (b"EXIF", block),
        )
        yield (f"EXIF {what} in a WebP", "either", webp)
    yield (
        "XMP of endless entities",
        "photo",
        parts.with_segment(SEEDS["jpeg"], segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + xmp)),
    )
    icc = [segment(0xE2, b"ICC_PROFILE\0" + bytes((i, 255)) + bytes(60_000)) for i in range(1, 60)]
    yield ("colour profile of 3 MB", "photo", parts.with_segment(SEEDS["jpeg"], *icc))
    for marker in (0xE0, 0xEC, 0xED, 0xEE):
        for block in (b"JFIF\0", b"Photoshop 3.0\x008BIM\x04\x04\0\0\xff\xff\xff\xff", b"Adobe\0d\0\0\0\0\x07"):
            yield (f"{block[:5]!r} in {marker:x}", "either", parts.with_segment(SEEDS["jpeg"], segment(marker, block)))


def _vp8() -> bytes:
    data = saved(kind="WEBP", quality=50)
    at = data.index(b"VP8 ")
    return data[at + 8 : at + 8 + int.from_bytes(data[at + 4 : at + 8], "little")]


@kind("built wrong")
def built_wrong() -> Files:
    """Files whose parts contradict each other."""
    good, jpeg = SEEDS["png"], SEEDS["jpeg"]
    rows = b"".join(b"\0" + bytes(384) for _ in range(96))
    idat = chunk(b"IDAT", zlib.compress(rows))
    pieces: dict[str, bytes] = {
        "PNG without data": png(128, 96),
        "PNG with data twice": png(128, 96, idat, rows=rows),
        "PNG with too few rows": png(128, 96, rows=rows[:5000]),
        "PNG with filters that are none": png(128, 96, rows=b"".join(b"\x09" + bytes(384) for _ in range(96))),
        "PNG with wrong checks": png(128, 96, chunk(b"IDAT", zlib.compress(rows), crc=1)),
        "PNG with palette but none": png(128, 96, depth=8, colour=3, rows=rows),
        "PNG with data that is not packed": png(128, 96, chunk(b"IDAT", rows)),
        "PNG with a chunk of 4 GB": good[:33] + b"\xff\xff\xff\xfftEXt" + good[33:],
        "PNG with the end first": good[:8] + chunk(b"IEND", b"") + good[8:],
        "PNG with two heads": good[:33] + good[8:],
        "PNG of 200,000 parts": good[:33] + chunk(b"teXt", b"") * 200_000 + good[33:],
        "JPEG without tables": jpeg.replace(b"\xff\xc4", b"\xff\xef"),
        "JPEG without steps": jpeg.replace(b"\xff\xdb", b"\xff\xef"),
        "JPEG without a scan": jpeg[: jpeg.index(b"\xff\xda")] + b"\xff\xd9",
        "JPEG without an end": jpeg[:-2],
        "JPEG with two starts": b"\xff\xd8" + jpeg,
        "JPEG with 90,000 fill bytes": jpeg[:2] + b"\xff" * 90_000 + jpeg[2:],
        "JPEG of no size": jpeg[: jpeg.index(b"\xff\xc0") + 5] + bytes(4) + jpeg[jpeg.index(b"\xff\xc0") + 9 :],
        "WebP with a size of 4 GB": b"RIFF\xff\xff\xff\xff" + SEEDS["webp"][8:],
        "WebP with nothing inside": webp_of(),
        "WebP with a frame beyond the picture": SEEDS["webp animation"].replace(b"ANMF", b"ANMF", 1)[:-9] + bytes(9),
        "HEIC with nothing inside": box(b"ftyp", b"heic\0\0\0\0mif1heic"),
        "HEIC within itself": box(b"ftyp", b"heic\0\0\0\0mif1heic") + _nested(500),
        "HEIC whose data lie elsewhere": HEIC.replace(b"\0\0\x01\x7a", b"\x7f\xff\xff\xff"),
        "HEIC with a box of no end": HEIC.replace(b"\0\0\x01\x56meta", b"\0\0\0\0meta"),
    }
    for marker in (0xC1, 0xC2, 0xC3, 0xC5, 0xC7, 0xC9, 0xCA, 0xCB, 0xCF):
        pieces[f"JPEG that says it is coded as {marker:x}"] = jpeg.replace(b"\xff\xc0", bytes((0xFF, marker)))
    for components in (0, 2, 5, 255):
        at = jpeg.index(b"\xff\xc0") + 9
        pieces[f"JPEG of {components} colours"] = jpeg[:at] + bytes((components,)) + jpeg[at + 1 :]
    for name, data in pieces.items():
        yield (name, "either", data)


def _nested(depth: int) -> bytes:
    data = b""
    for _ in range(depth):
        data = box(b"meta", bytes(4) + data)
    return data


@kind("name")
def names() -> Files:
    """File names that mean something else to a program or to a screen."""
    odd: tuple[str | bytes, ...] = (
        "a b.jpg", "-rf.jpg", "--out.jpg", "=1+1.jpg", "new\nline.jpg", "tab\t.jpg", "bell\x07.jpg", "\x1b[31mred.jpg",
        "\u202egnp.jpg", "x" * 240 + ".jpg", "\N{SEEDLING}.jpg", "u\u0308.jpg", "'; DROP TABLE photos;.jpg", "%s%n.jpg",
        "<script>.jpg", "$(reboot).jpg", "CON.jpg", "weed.jpg.exe", ".hidden", b"\xff\xfe.jpg",
        '{"do": "open"}.jpg',
    )  # fmt: skip
    for name in odd:
        yield (repr(name), "photo", SEEDS["jpeg"], name)
        yield (f"{name!r}, no picture", "refused", b"words", name)


@kind("no picture")
def no_pictures() -> Files:
    """What is no file of a picture at all."""
    random = np.random.default_rng(8)
    texts: dict[str, bytes] = {
        "words": b"words", "JSON": b'{"a": 1}', "zip": ZIP, "page": FOREIGN["page"],
        "program": FOREIGN["program"], "zeros": bytes(5000), "ones": b"\xff" * 5000, "lines": b"\n" * 5000,
    }  # fmt: skip
    for name, data in texts.items():
        yield (name, "refused", data)
    for length in (10, 100, 10_000):
        yield (f"noise of {length}", "refused", random.bytes(length))
    does: dict[str, Callable[[Path], Any]] = {
        "missing": lambda path: None,
        "a folder": lambda path: path.mkdir(),
        "a link to nothing": lambda path: path.symlink_to("nowhere"),
        "a link to itself": lambda path: path.symlink_to(path.name),
        "a device without end": lambda path: path.symlink_to("/dev/zero"),
        "a pipe that nobody writes to": lambda path: os.mkfifo(path),
        "a file that is being read": lambda path: path.symlink_to("/proc/self/mem"),
    }
    for name, make in does.items():
        yield (name, "refused", make)
