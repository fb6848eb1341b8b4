"""Positions, serial numbers and names planted in photos, and a search for them in whatever is stored or said.

``python -m tests.security.privacy`` plants them in 500 photos, takes these in by every way there is,
and looks through every byte of the user's folder, of temporary files and of what was said.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import struct
import tempfile
import zipfile
import zlib
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from PIL import Image

from app.records.photos import keep_photo
from app.services.collection import plan_addition
from app.services.interview import start_interview
from model.errors import SwardkeyError
from tests.security.picture_parts import HEIC, box, chunk, saved, segment, webp_of, with_chunk, with_segment
from training.data.features import features_of
from training.data.manifest import LabelledPhoto

GPS, DETAILS = 0x8825, 0x8769
SPECIES = "poa_annua"
PLAIN = {0xDB, 0xC0, 0xC4}  # what a JPEG needs besides its head and its data
Plant = Callable[[bytes, "Secret"], bytes]


@dataclass(frozen=True)
class Secret:
    """What must not survive: a word, and a position as text and as EXIF writes it."""

    number: int

    @property
    def word(self) -> bytes:
        return f"SN{zlib.crc32(b'%d' % self.number):08x}{self.number:05}".encode()

    @property
    def position(self) -> bytes:
        return f"-33.{zlib.crc32(b'at %d' % self.number):010}".encode()

    @property
    def seconds(self) -> tuple[int, int]:
        return zlib.crc32(b"s %d" % self.number) | 1, 72_577

    def needles(self) -> tuple[bytes, ...]:
        """As bytes, in each way in which a file may write them."""
        texts = (self.word, self.position)
        wide = tuple(text.decode().encode(code) for text in texts for code in ("utf-16-le", "utf-16-be"))
        return (*texts, *wide, struct.pack("<II", *self.seconds), struct.pack(">II", *self.seconds))


def picture_of(number: int) -> Image.Image:
    """A picture unlike that of any other number."""
    rough = np.random.default_rng(number).integers(0, 255, (8, 10, 3), dtype=np.uint8)
    return Image.fromarray(rough).resize((100, 80), Image.Resampling.BICUBIC)


def exif_of(secret: Secret) -> bytes:
    """EXIF with position, owner, serial numbers, a comment, and a maker's note."""
    made = Image.Exif()
    word = secret.word.decode()
    made[0x010F], made[0x013B], made[0x8298] = "Maker", word, word  # artist, copyright
    made[0x9C9D] = word.encode("utf-16-le")  # author as Windows writes it
    made[DETAILS] = {
        0x9003: "2026:03:05 10:00:00",
        0xA430: word,  # owner
        0xA431: word,  # serial number of the camera
        0xA435: word,  # of the lens
        0x9286: b"ASCII\0\0\0" + secret.position,
        0x927C: b"MAKER\0" + secret.word + bytes(200) + secret.position,
    }
    made[GPS] = {
        1: "S",
        2: (33.0, 51.0, secret.seconds[0] / secret.seconds[1]),
        3: "E",
        4: (151.0, 12.0, 7.0),
        29: "2026:03:05",
    }
    data = made.tobytes()
    # PIL shortens fractions as it likes: the needle is put where the seconds are.
    return data + struct.pack("<II", *secret.seconds) + struct.pack(">II", *secret.seconds)


def xmp_of(secret: Secret) -> bytes:
    """XMP with position and serial number."""
    inside = b"<rdf:Description exif:GPSLatitude='%s' aux:SerialNumber='%s'/>" % (secret.position, secret.word)
    return b"<x:xmpmeta xmlns:x='adobe:ns:meta/'><rdf:RDF>" + inside + b"</rdf:RDF></x:xmpmeta>"


def _film(secret: Secret) -> bytes:
    place = box(b"\xa9xyz", struct.pack(">HH", 20, 5575) + secret.position)
    moov = box(b"moov", box(b"udta", place + box(b"auth", secret.word)))
    return box(b"ftyp", b"mp42\0\0\0\0mp42isom") + moov + box(b"mdat", bytes(500))


def _thumbnail(data: bytes, secret: Secret) -> bytes:
    small = with_segment(saved(picture_of(1).resize((32, 24))), segment(0xFE, secret.word + secret.position))
    return with_segment(data, segment(0xE2, b"MPF\0" + small), segment(0xE1, exif_of(secret) + small))


def _as_webp(data: bytes, secret: Secret) -> bytes:
    """The picture as WebP, with EXIF, XMP and a part that nobody knows."""
    plain = saved(Image.open(io.BytesIO(data)), "WEBP", quality=80)
    size = b"\x0c\0\0\0" + struct.pack("<I", 99)[:3] + struct.pack("<I", 79)[:3]
    parts = [(b"VP8X", size), (b"VP8 ", plain[20:]), (b"EXIF", exif_of(secret)), (b"XMP ", xmp_of(secret))]
    return webp_of(*parts, (b"NOTE", secret.word + secret.position))


def _as_png(data: bytes, *chunks: bytes) -> bytes:
    return with_chunk(saved(Image.open(io.BytesIO(data)), "PNG"), *chunks)


def _in_texts(data: bytes, secret: Secret) -> bytes:
    both = secret.word + b" " + secret.position
    return _as_png(
        data,
        chunk(b"tEXt", b"Author\0" + both),
        chunk(b"zTXt", b"Comment\0\0" + zlib.compress(both)),
        chunk(b"iTXt", b"XML:com.adobe.xmp\0\0\0\0\0" + xmp_of(secret)),
        chunk(b"iCCP", b"x\0\0" + zlib.compress(both * 20)),
        chunk(b"prVt", both),
    )


PLACES: dict[str, Plant] = {
    "EXIF": lambda data, secret: with_segment(data, segment(0xE1, exif_of(secret))),
    "XMP": lambda data, secret: with_segment(data, segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + xmp_of(secret))),
    "JPEG comment": lambda data, secret: with_segment(data, segment(0xFE, secret.word + secret.position)),
    "IPTC": lambda data, secret: with_segment(
        data,
        segment(0xED, b"Photoshop 3.0\x008BIM\x04\x04\0\0\0\0\0\x2e\x1c\x02\x50\0\x29" + secret.word + secret.position),
    ),
    "colour profile": lambda data, secret: with_segment(
        data, segment(0xE2, b"ICC_PROFILE\0\1\1" + bytes(128) + secret.word + secret.position)
    ),
    "unknown segment": lambda data, secret: with_segment(
        data, segment(0xEB, secret.word), segment(0xEF, secret.position)
    ),
    "film behind": lambda data, secret: data + _film(secret),
    "thumbnail": _thumbnail,
    "second picture": lambda data, secret: data + with_segment(saved(), segment(0xE1, exif_of(secret))),
    "PNG text": _in_texts,
    "PNG EXIF": lambda data, secret: _as_png(data, chunk(b"eXIf", exif_of(secret)[6:])),
    "WebP": _as_webp,
    "HEIC": lambda data, secret: HEIC + box(b"uuid", bytes(16) + xmp_of(secret)) + box(b"free", exif_of(secret)),
    "cut short": lambda data, secret: with_segment(data, segment(0xE1, exif_of(secret)), segment(0xFE, secret.word))[
        :-400
    ],
}


@dataclass
class Search:
    """What was looked through, and what was found there."""

    files: int = 0
    size: int = 0
    pictures: int = 0
    found: list[str] = field(default_factory=list)

    def look(self, name: str, data: bytes, needles: Sequence[bytes]) -> None:
        """Look through one file, or through what was said."""
        self.files += 1
        self.size += len(data)
        self.found += [f"{name} holds {needle!r}" for needle in needles if needle in data]
        if data[:2] == b"\xff\xd8":
            self.pictures += 1
            extra = [f"{marker:x}" for marker in markers(data) if marker not in PLAIN]
            if extra != ["e0", "da"]:
                self.found.append(f"{name} has segments {extra}")


def markers(data: bytes) -> list[int]:
    """The segments of a baseline JPEG, and -1 where it does not end with its data."""
    at, found = 2, []
    while data[at] == 0xFF:
        found.append(data[at + 1])
        at += 2 + int.from_bytes(data[at + 2 : at + 4])
        if found[-1] == 0xDA:
            break
    return found if data.find(b"\xff\xd9", at) == len(data) - 2 else [*found, -1]


def plant(folder: Path, count: int) -> dict[Path, Secret]:
    """Photos with secrets in them, each in one place."""
    made = {}
    for number in range(count):
        place = list(PLACES)[number % len(PLACES)]
        secret = Secret(number)
        data = PLACES[place](saved(picture_of(number), quality=80), secret)
        assert any(needle in data for needle in secret.needles()), f"nothing planted: {place}"
        file = folder / SPECIES / f"{number:04}.jpg"
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(data)
        made[file] = secret
    return made


def collect(source: Path, home: Path) -> str:
    """Add a folder or zip to the collection; what would be said."""
    collection, plan = plan_addition(source, "a person", home / "collection")
    outcome = collection.add(plan)
    assert outcome.added + outcome.known_already, outcome
    return repr(outcome)


def tried(work: Callable[[Path], str], files: Sequence[Path]) -> str:
    """What would be said of each file, also where it is refused."""
    said = []
    for file in files:
        try:
            said.append(work(file))
        except SwardkeyError as error:
            said.append(str(error))
    return "\n".join(said)


def features(files: Sequence[Path], home: Path) -> str:
    """Keep features of photos as training does; what would be said."""
    photos = [LabelledPhoto(file, file.name, SPECIES, "", False, "", "", "") for file in files]
    return "\n".join(features_of(photos, home / "cache" / "features.safetensors")[1])


def search_all(work: Path, count: int, looked_at: int) -> Search:
    """Plant, take in by every way, and look through everything that was written or said."""
    home, temporary = work / "home", work / "temporary"
    temporary.mkdir(parents=True)
    made = plant(work / "photos", count)
    files = list(made)
    needles = [needle for secret in made.values() for needle in secret.needles()]
    before = tempfile.tempdir
    tempfile.tempdir = str(temporary)
    os.environ["SWARDKEY_HOME"] = str(home)
    try:
        said = {
            "collecting a folder": collect(work / "photos", home),
            "keeping records": tried(lambda file: keep_photo(file, home / "records"), files),
            "naming": tried(lambda file: json.dumps(start_interview([file]).finding.as_json()), files[:looked_at]),
            "keeping features": features(files[:looked_at], home) if looked_at else "",
        }
        with zipfile.ZipFile(work / "photos.zip", "w") as archive:
            for file in files[::5]:
                archive.write(file, f"{SPECIES}/z{file.name}")
        said["collecting a zip"] = collect(work / "photos.zip", work / "home" / "second")
    finally:
        tempfile.tempdir = before
    search = Search()
    for name, text in said.items():
        search.look(name, text.encode(), needles)
    for file in sorted(work.rglob("*")):
        if file.is_file() and (file.is_relative_to(home) or file.is_relative_to(temporary)):
            search.look(str(file.relative_to(work)), file.read_bytes(), needles)
            search.look("its name", os.fsencode(file.name), needles)
    return search


def main() -> None:
    """The whole run."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--photos", type=int, default=500)
    asked.add_argument("--named", type=int, default=60, help="of these, how many are named and have features kept")
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as name:
        search = search_all(Path(name), given.photos, given.named)
    places = Counter(list(PLACES)[number % len(PLACES)] for number in range(given.photos))
    print(f"planted in {given.photos} photos: {', '.join(f'{count} {place}' for place, count in places.items())}")
    print(
        f"looked through {search.files} files and texts, {search.size / 1e6:.1f} MB, {search.pictures} of them pictures"
    )
    print(f"found: {len(search.found)}", *search.found[:20], sep="\n")
    raise SystemExit(bool(search.found))


if __name__ == "__main__":
    main()
