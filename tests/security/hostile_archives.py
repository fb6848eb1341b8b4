"""Zips that somebody made to do harm: as photos to collect, and as a backup to bring back."""

from __future__ import annotations

import functools
import hashlib
import io
import json
import shutil
import struct
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from PIL import Image

from app.records import back_up, open_records, plan_restore, restore
from model.flora import load_flora
from tests.app.record_book import keep_some
from tests.security.hostile_watch import Try
from tests.security.hostile_zip_ends import lies
from training.collection import Collection, Names, Wishes, open_source, plan_intake

NASTY_PLAIN = r"""
    ../swardkey-was-here.jpg .. . / // ../ a/../../swardkey-was-here dandelion/../../../x.jpg ./dandelion/a.jpg
    dandelion/./a.jpg dandelion//a.jpg /etc/swardkey-was-here /var/swardkey-was-here //server/share/a.jpg ~/a.jpg
    ~root/a.jpg C:a.jpg C:/a.jpg c:\a.jpg Z:../a.jpg \a.jpg ..\a.jpg dandelion\..\..\a.jpg \\server\share\a.jpg
    \\?\C:\a.jpg \\.\PhysicalDrive0 dandelion/a.jpg::$DATA dandelion/a.jpg:stream con CON.jpg dandelion/aux.jpg
    nul/a.jpg dandelion/COM1 dandelion/lpt9.txt dandelion/conin$ dandelion/clock$.jpg dandelion/a.jpg.
    dandelion./a.jpg dandelion/a?.jpg dandelion/a*.jpg dandelion/a|b.jpg dandelion/a"b.jpg dandelion/<script>.jpg
    dandelion/%2e%2e%2fa.jpg dandelion/..%c0%af.jpg dandelion/=1+1.jpg dandelion/@a.jpg dandelion/$(id).jpg
    dandelion/`id`.jpg -rf/a.jpg dandelion/a.zip dandelion/a.tar.gz dandelion/.htaccess
    collection/species/../../x.yaml models/../../x records/../x records/records.sqlite-journal
    collection/manifest.lock .restored/new/x .restoring/new/x before-restore/x cache/x models/current.json/x
    manifest.json/x
"""
NASTY = [
    *NASTY_PLAIN.split(),
    "", "dandelion/com¹.jpg", "prn ", "dandelion/a.jpg ", " dandelion/a.jpg", "dandelion/" + "a" * 300 + ".jpg",
    "a/" * 400 + "a.jpg", "dandelion/" + "é" * 120 + ".jpg", "dandelion/a\nb.jpg", "dandelion/a\rb.jpg",
    "dandelion/\x1b]0;x\x07.jpg", "dandelion/a\x7f.jpg", "dandelion/gpj.\u202eexe", "dandelion/\u2066a\u2069.jpg",
    "dandelion/a\u200f.jpg", "dandelion/\uff3c..\uff3ca.jpg", "dandelion/\uff0e\uff0e\uff0fa.jpg",
    "dandelion/;rm -rf ~.jpg",
]  # fmt: skip


@functools.cache
def jpeg(seed: int = 1) -> bytes:
    """A small photo in which something can be made out."""
    coarse = np.random.default_rng(seed).integers(0, 256, (12, 15, 3), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(coarse).resize((120, 100), Image.Resampling.BICUBIC).save(out, "JPEG")
    return out.getvalue()


@functools.cache
def names() -> Names:
    return Names(load_flora())


def packed(members: list[tuple[str, bytes]], method: int = zipfile.ZIP_STORED) -> bytes:
    """A zip of any names, as they are given."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, data in members:
            info = zipfile.ZipInfo("x")
            info.filename, info.compress_type = name, method
            archive._didModify = True
            archive.writestr(info, data)
    return out.getvalue()


def collect(path: Path, home: Path) -> None:
    """What `collect add ZIP` does."""
    collection = Collection(home / "collection")
    source = open_source(path, Wishes(), lambda name: names().look_up(name) is not None)
    plan = plan_intake(source, names(), collection, "Kim", skip_unknown=True)
    collection.add(plan)


def bring_back(path: Path, home: Path) -> None:
    """What `restore ZIP` does."""
    restore(plan_restore(path, home))


@functools.cache
def backup(folder: Path) -> bytes:
    """A backup of a small home."""
    home = folder / "of"
    with open_records(home / "records") as records:
        keep_some(records)
    for file, text in {"collection/manifest.csv": "x", "models/current.json": "{}", "drafts/q.json": "{}"}.items():
        (home / file).parent.mkdir(parents=True, exist_ok=True)
        (home / file).write_text(text)
    back_up(home, folder / "backup.zip")
    return (folder / "backup.zip").read_bytes()


def with_more(data: bytes, more: list[tuple[str, bytes]], **fields: object) -> bytes:
    """A backup with members more, listed as they should be."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        members = [(name, archive.read(name)) for name in archive.namelist()]
        manifest = json.loads(archive.read("manifest.json"))
    members = [*members[:-1], *more]
    manifest["files"] |= {n: {"size": len(d), "sha256": hashlib.sha256(d).hexdigest()} for n, d in more}
    return packed([*members, ("manifest.json", json.dumps(manifest | fields).encode())])


def bombs(good: bytes, large: bool = True) -> Iterator[tuple[str, bytes]]:
    """Zips that are small and want to be large, and zips that are no ordinary ones; ``good`` holds a zip to spoil."""
    yield from lies(good)
    if large:
        yield from large_ones()


def large_ones() -> Iterator[tuple[str, bytes]]:
    """Those that take long to make."""
    deflated = zipfile.ZIP_DEFLATED
    yield "zeros", packed([("dandelion/a.jpg", b"\0" * 50_000_000)], deflated)
    yield "many zeros", packed([(f"dandelion/{n}.jpg", b"\0" * 900_000) for n in range(60)], deflated)
    yield (
        "just under the ratio",
        packed([(f"dandelion/{n}.jpg", jpeg() + b"\0" * 200_000) for n in range(40)], deflated),
    )
    inner = packed([("a.jpg", b"\0" * 5_000_000)], deflated)
    for name in ("a.zip", "a.jpg", "a.docx"):
        yield f"nested as {name}", packed([(f"dandelion/{name}", inner)], deflated)
    yield "60000 members", packed([(f"dandelion/{n}.jpg", b"") for n in range(60_000)])
    yield "60000 folders", packed([(f"dandelion/{n}/", b"") for n in range(60_000)])
    for method in (zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA):
        yield f"packed by {method}", packed([("dandelion/a.jpg", jpeg())], method)
    for kind in (0o120777, 0o020666, 0o060666, 0o010666, 0o140777):
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as archive:
            info = zipfile.ZipInfo("dandelion/a.jpg")
            info.create_system, info.external_attr = 3, kind << 16
            archive.writestr(info, "/etc/passwd")
        yield f"member of mode {kind:o}", out.getvalue()
    for one, other in (
        ("a.jpg", "a.jpg"),
        ("a.jpg", "A.JPG"),
        ("é.jpg", "e\u0301.jpg"),
        ("ß.jpg", "SS.jpg"),
        ("a.jpg", "a.jpg/x.jpg"),
    ):
        yield f"{one} and {other}", packed([(f"dandelion/{one}", jpeg(1)), (f"dandelion/{other}", jpeg(2))])


def generated(good: bytes, count: int, seed: int) -> Iterator[tuple[str, bytes]]:
    """Copies of a zip with bytes changed, taken out, put in, or its headers' numbers turned to others."""
    random = np.random.default_rng(seed)
    marks = [i for i in range(len(good) - 4) if good[i : i + 4] in (b"PK\x01\x02", b"PK\x03\x04", b"PK\x05\x06")]
    for number in range(count):
        data = bytearray(good)
        way = ("flipped", "cut", "header", "swapped", "doubled")[number % 5]
        if way == "flipped":
            for place in random.integers(0, len(data), random.integers(1, 40)):
                data[place] = random.integers(256)
        elif way == "cut":
            start = int(random.integers(len(data)))
            del data[start : start + int(random.integers(1, len(data)))]
        elif way == "header":
            for _ in range(int(random.integers(1, 4))):
                place = int(random.choice(marks)) + 4 + int(random.integers(0, 42))
                data[place : place + 2] = struct.pack("<H", int(random.choice([0, 1, 8, 99, 255, 2048, 32768, 65535])))
        elif way == "swapped":
            one, other = sorted(random.integers(0, len(data), 2))
            data = data[other:] + data[one:other] + data[:one]
        else:
            start = int(random.integers(len(data)))
            data[start:start] = data[start : start + int(random.integers(1, 2000))]
        yield f"{way} {number}", bytes(data)


def tries(box: Path, count: int = 2000) -> Iterator[Try]:
    """Nasty names, bombs, and ``count`` generated zips, half of them photos and half of them backups."""
    saved = backup(box / "saved")
    photos = packed([("dandelion/a.jpg", jpeg(1)), ("dandelion/b.jpg", jpeg(2))], zipfile.ZIP_DEFLATED)
    table = packed([("a.jpg", jpeg(1)), ("manifest.csv", b"photo,species\na.jpg,dandelion\n")], zipfile.ZIP_DEFLATED)
    ways: dict[str, tuple[Callable[[Path, Path], None], list[tuple[str, bytes]]]] = {
        "names to collect": (collect, [(n, packed([("dandelion/a.jpg", jpeg()), (n, jpeg(2))])) for n in NASTY]),
        "names in a backup": (bring_back, [(n, with_more(saved, [(n, b"1")])) for n in NASTY]),
        "names in a backup's folder": (bring_back, [(n, with_more(saved, [("collection/" + n, b"1")])) for n in NASTY]),
        "bombs to collect": (collect, list(bombs(photos, count >= 2000))),
        "bombs for a backup": (bring_back, [*bombs(saved, count >= 2000), *_lists(saved)]),
        "generated to collect": (collect, [*generated(photos, count // 4, 1), *generated(table, count // 4, 2)]),
        "generated for a backup": (bring_back, list(generated(saved, count // 2, 3))),
    }
    for kind, (way, files) in ways.items():
        for name, data in files:

            def act(way: Callable[[Path, Path], None] = way, data: bytes = data) -> None:
                shutil.rmtree(box / "home", ignore_errors=True)
                (box / "in.zip").write_bytes(data)
                way(box / "in.zip", box / "home")

            yield Try(f"zip: {kind}", name[:60], act)


def _lists(saved: bytes) -> Iterator[tuple[str, bytes]]:
    """Backups whose own list of files is wrong."""
    for name, data in {
        "deep": b"[" * 200_000,
        "list": b"[]",
        "long": b"[" + b"[]," * 3_000_000 + b"[]]",
        "NUL": b"\0",
        "UTF-16": "{}".encode("utf-16"),
        "long number": b"9" * 100_000,
        "cut": b'{"format": ',
    }.items():
        yield f"list {name}", packed([("manifest.json", data)])
    for name, fields in {
        "folders twice": {"folders": ["records", "records", "collection", "models", "drafts"]},
        "sizes below nothing": {"files": {"drafts/q.json": {"size": -1, "sha256": "0" * 64}}},
        "sizes beyond all": {"files": {"drafts/q.json": {"size": 10**30, "sha256": "0" * 64}}},
        "version": {"version": 10**30},
        "more": {"x": 1},
    }.items():
        yield f"list {name}", with_more(saved, [], **fields)
    yield "file and folder", with_more(saved, [("models/a", b"1"), ("models/a/b", b"1")])
    for name, book in {
        "no book": b"x" * 4096,
        "empty book": b"",
        "head of a book": b"SQLite format 3\0" + b"\xff" * 5000,
    }.items():
        with zipfile.ZipFile(io.BytesIO(saved)) as archive:
            members = [(n, book if n.endswith(".sqlite") else archive.read(n)) for n in archive.namelist()[:-1]]
        manifest = json.loads(zipfile.ZipFile(io.BytesIO(saved)).read("manifest.json"))
        listed = {n: {"size": len(d), "sha256": hashlib.sha256(d).hexdigest()} for n, d in members}
        yield name, packed([*members, ("manifest.json", json.dumps(manifest | {"files": listed}).encode())])
