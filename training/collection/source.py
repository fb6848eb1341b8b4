"""Find out what a path is: a folder of folders, a table, a zip, a Darwin Core archive, or one photo."""

from __future__ import annotations

import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from model.errors import CollectionError
from training.collection.archive import PHOTOS, ZipTree
from training.collection.darwin_core import META, DarwinCore
from training.collection.fetch import Fetcher
from training.collection.folder import Folders, FolderTree
from training.collection.licence import wanted_kinds
from training.collection.offer import Origin, Source, Tree
from training.collection.table import Table

MANIFEST = "manifest.csv"
TABLES = (".csv", ".tsv", ".txt")


@dataclass(frozen=True)
class Wishes:
    """What a user says about a source.

    ``licences``: of a Darwin Core archive those that are taken, of all else the one that its
    photos have. ``allowed``: hosts that may lie in a private network. ``as_name``: the species of
    every photo.
    """

    source: str = ""
    creator: str = ""
    licences: Sequence[str] = ()
    allowed: Sequence[str] = ()
    as_name: str = ""


def open_source(path: Path, wishes: Wishes, is_plant: Callable[[str], bool] = lambda name: False) -> Source:
    """The source that a path is. Nothing is fetched or unpacked yet.

    Raises CollectionError where there is none, or where it is refused.
    """
    if path.is_dir():
        name = path.resolve().name
        of_one_plant = is_plant(name) and any(file.suffix.casefold() in PHOTOS for file in path.glob("*"))
        return _in_tree(FolderTree(path), wishes, name if of_one_plant else "")
    if not path.is_file():
        raise CollectionError(f"{path}: no such file or folder; check the name")
    if path.suffix.casefold() in TABLES:
        return Table(FolderTree(path.parent), path.name, _origin(path, wishes), wishes.as_name)
    if path.suffix.casefold() in PHOTOS:
        if not wishes.as_name:
            raise CollectionError(f"{path}: is one photo; name its species with --as")
        return Folders(FolderTree(path.parent, [path.name]), _origin(path, wishes), wishes.as_name)
    if path.suffix.casefold() == ".zip" or zipfile.is_zipfile(path):
        return _in_tree(ZipTree(path, is_plant), wishes)
    raise CollectionError(f"{path}: is not a folder, CSV table, zip or photo; name one of these")


def _in_tree(tree: Tree, wishes: Wishes, plant: str = "") -> Source:
    """A tree with meta.xml is an archive of occurrences, one with manifest.csv a table.

    ``plant``: the name of a folder with photos of one plant, as it would lie in a folder of such folders.
    """
    if tree.has(META):
        return DarwinCore(tree, Fetcher(wishes.allowed), wanted_kinds(wishes.licences), wishes.as_name)
    origin = _origin(Path(tree.title), wishes)
    if tree.has(MANIFEST):
        return Table(tree, MANIFEST, origin, wishes.as_name)
    return Folders(tree, origin, wishes.as_name or plant)


def _origin(path: Path, wishes: Wishes) -> Origin:
    if len(wishes.licences) > 1:
        raise CollectionError(f"--licence: the photos of {path} have one licence; name it once")
    licence = wishes.licences[0] if wishes.licences else ""
    return Origin(wishes.source or Origin.source, wishes.creator, licence)
