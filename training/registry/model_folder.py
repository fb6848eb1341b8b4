"""One model as a folder that never changes: copied in whole, and checked against its manifest."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from model.errors import ModelError
from model.file import check_ordinary, read_file
from model.storage import move, sync_folder, write_through

MANIFEST = "MANIFEST.sha256"
NAME = re.compile(r"\d{8}T\d{6}Z-[0-9a-f]{8}")
LEFTOVER = re.compile(r"\.(new|gone)-.*")
ENDINGS = (".safetensors", ".onnx", ".json", ".md", ".yaml", ".csv", ".txt")
LARGEST_BYTES = 400_000_000
LARGEST_JSON = 10_000_000
LARGEST_LIST = 20_000  # bytes of MANIFEST.sha256
FILE = "[A-Za-z0-9_-][A-Za-z0-9_.-]{0,99}"
LINE = re.compile(rf"([0-9a-f]{{64}})  ({FILE})")


def name_of(at: datetime) -> str:
    """A moment in UTC as it stands in names and logs, to the second.

    >>> name_of(datetime(2026, 11, 25, 13, 5, 9))
    '20261125T130509Z'
    """
    return f"{at:%Y%m%dT%H%M%SZ}"


def read_json(path: Path, most: int = LARGEST_JSON) -> Any:
    """What a JSON file of up to ``most`` bytes holds. Raises OSError for no such file, ValueError for other text."""
    try:
        return json.loads(read_file(path, most, links=False))
    except RecursionError:
        raise ValueError("nested too deeply") from None


def fault_of(folder: Path) -> str:
    """What is wrong with a model folder, in a few words; "" when every file is as it was written."""
    if folder.is_symlink():
        return "it is a link"
    try:
        text = read_file(folder / MANIFEST, LARGEST_LIST, links=False).decode("ascii")
    except (OSError, UnicodeDecodeError):
        return f"{MANIFEST} is missing or cannot be read"
    if f"-{_sha8(text)}" != folder.name[-9:]:
        return f"{MANIFEST} is not the one that was written"
    listed = dict.fromkeys((MANIFEST,))
    for line in text.splitlines():
        found = LINE.fullmatch(line)
        if found is None:
            return f"{MANIFEST} is not a list of files"
        digest, name = found.groups()
        if name in listed or Path(name).suffix not in ENDINGS:
            return f"{MANIFEST} lists {name}, which does not belong there"
        listed[name] = None
        if fault := _fault_of_file(folder / name, digest):
            return f"{name} {fault}"
    added = [p.name for p in folder.iterdir() if p.name not in listed and not p.name.startswith(".")]
    return f"{_printable(added[0])} does not belong to it" if added else ""


def _printable(name: str) -> str:
    """A name of somebody else's as it may be shown."""
    return "".join(c if c.isprintable() else "?" for c in name[:100])


def _fault_of_file(path: Path, digest: str = "") -> str:
    """What is wrong with one file, in a few words; ``digest``: the sha256 that it must have, any without it."""
    try:
        check_ordinary(path, LARGEST_BYTES, links=False)
        with path.open("rb") as file:
            if digest and hashlib.file_digest(file, "sha256").hexdigest() != digest:
                return "is not as it was written"
        if path.suffix == ".json":
            read_json(path)
    except OSError:
        return "is missing or cannot be read"
    except ValueError:
        return "is not JSON that can be read"
    return ""


def copy_in(source: Path, models: Path, at: str, known: Sequence[str]) -> str:
    """Copy the files of ``source`` into ``models`` as <at>-<sha8>; the name. Whole or not at all.

    A model with the same files that is there already, undamaged, is not copied again. Raises
    ModelError when ``source`` is not a model folder, OSError when the disk refuses.
    """
    contents = {file.name: file.read_bytes() for file in model_files(source)}
    manifest = "".join(f"{hashlib.sha256(data).hexdigest()}  {name}\n" for name, data in contents.items())
    for name in known:
        if name.endswith(f"-{_sha8(manifest)}") and not fault_of(models / name):
            return name
    name = f"{at}-{_sha8(manifest)}"
    hidden = models / f".new-{name}"
    if (models / name).exists():  # the same second, the same files, damaged since
        remove_folder(models / name)
    hidden.mkdir()
    try:
        for file, data in contents.items():
            write_through(hidden / file, data)
        write_through(hidden / MANIFEST, manifest.encode("ascii"))
        sync_folder(hidden)
        move(hidden, models / name)
    except OSError:
        shutil.rmtree(hidden, ignore_errors=True)
        raise
    sync_folder(models)
    return name


def model_files(source: Path) -> list[Path]:
    """The files of a model folder, sorted by name. Raises ModelError naming what does not belong."""
    if not source.is_dir():
        raise ModelError(f"{source}: no such folder; name the folder of a model")
    found, size = [], 0
    for path in sorted(source.iterdir()):
        if path.name.startswith(".") or path.name == MANIFEST:
            continue
        if path.is_symlink() or not path.is_file() or path.suffix not in ENDINGS or not re.fullmatch(FILE, path.name):
            file = source / _printable(path.name)
            raise ModelError(f"{file}: does not belong in a model; only files ending in {', '.join(ENDINGS)} do")
        size += path.stat().st_size
        if path.suffix == ".json" and size <= LARGEST_BYTES and (fault := _fault_of_file(path)):
            raise ModelError(f"{path}: {fault}; use another model")
        found.append(path)
    for needed in ("head.safetensors", "model.json"):
        if not (source / needed).is_file():
            raise ModelError(f"{source}: is not a model, {needed} is missing; name the folder of a model")
    if size > LARGEST_BYTES:
        raise ModelError(f"{source}: is over {LARGEST_BYTES // 1_000_000} MB, too large for a model; use another")
    return found


def remove_folder(folder: Path) -> None:
    """Take a folder away: out of sight in one move, then its files. Raises OSError."""
    hidden = folder.with_name(f".gone-{folder.name}")
    shutil.rmtree(hidden, ignore_errors=True)
    move(folder, hidden)
    for path in sorted(hidden.iterdir()):
        path.unlink()
    hidden.rmdir()


def clear_leftovers(models: Path) -> None:
    """Clear away what an interrupted change left out of sight."""
    for path in sorted(models.iterdir()):
        if path.is_dir() and LEFTOVER.fullmatch(path.name):
            shutil.rmtree(path, ignore_errors=True)
        elif path.name.startswith(".") and path.suffix == ".new":  # nobody else writes here now
            path.unlink()


def _sha8(manifest: str) -> str:
    return hashlib.sha256(manifest.encode()).hexdigest()[:8]
