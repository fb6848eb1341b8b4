"""Labelled photos in a folder, read where they are: FOLDER/<species>/*.jpg, or a manifest."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from model.errors import CollectionError, PhotoError, nearest
from training.collection.folder import A_LINK, FolderTree
from training.collection.group import group_of
from training.collection.names import OTHER_FOLDER, Names
from training.collection.offer import Refusal
from training.data.manifest import LabelledPhoto, read_manifest

ENDINGS = (".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif")
MOST_NAMED = 8  # unknown names that an error lists


def read_labelled(folder: Path, names: Names, known: Mapping[str, str] | None = None) -> list[LabelledPhoto]:
    """The photos of a folder, each with its species id or `other:<kind>`, sorted as the folder has them.

    With a manifest.csv, its rows; else the photos under each folder, which has the id, the
    scientific or a common name of a species, or is under `_other/`. A folder inside it is one
    group; else the day and camera in the photo's metadata; else each photo is its own group.
    ``known`` are ids and names to suggest from. Raises CollectionError listing all names that
    are not those of one species.
    """
    if not folder.is_dir():
        raise CollectionError(f"{folder}: no such folder; name one with a folder of photos a species")
    photos = read_manifest(folder) if (folder / "manifest.csv").exists() else _walk(folder)
    if not photos:
        raise CollectionError(f"{folder}: holds no photos; put them in folders that bear the names of species")
    found, unknown = {}, []
    for name in dict.fromkeys(photo.label for photo in photos):
        match names.look_up(name):
            case str() as label:
                found[name] = label
            case several:
                unknown.append(f"{name} (means {' or '.join(several)})" if several else name)
    if unknown:
        listed, more = ", ".join(unknown[:MOST_NAMED]), len(unknown) - MOST_NAMED
        hint = f"; {nearest(unknown[0], known)}" if known else ""
        raise CollectionError(
            f"{folder}: not species of the flora: {listed}{f' and {more} more' if more > 0 else ''}{hint}; "
            f"rename, or move under {OTHER_FOLDER}/"
        )
    return [replace(photo, label=found[photo.label]) for photo in photos]


def photos_below(folder: Path) -> list[Path]:
    """The photos in a folder and the folders below it, sorted; hidden ones and links to folders are left out.

    Raises CollectionError for a folder in it that cannot be read or is too deep.
    """
    found = []
    for name in FolderTree(folder).names():
        if isinstance(name, Refusal):
            if name.why != A_LINK:
                raise CollectionError(f"{folder / name.file}: {name.why}")
            name = name.file  # a link to a photo serves as well, for nothing is copied from here
        found.append(folder / name)
    return sorted(path for path in found if path.suffix.lower() in ENDINGS and path.is_file())


def _walk(folder: Path) -> list[LabelledPhoto]:
    photos = []
    for file in photos_below(folder):
        parts = file.relative_to(folder).parts
        deep = 2 if parts[0] == OTHER_FOLDER else 1
        if len(parts) <= deep:
            raise CollectionError(f"{file}: is not in a folder named after a species; move it into one")
        label, inside = "/".join(parts[:deep]), parts[deep:-1]
        name = "/".join(parts)
        group = "/".join(parts[:-1]) if inside else _visit(file)
        photos.append(LabelledPhoto(file, name, label, group or name, bool(group), folder.name, "", ""))
    return photos


def _visit(file: Path) -> str:
    try:
        return group_of(file)
    except (PhotoError, OSError):
        return ""  # whether the photo can be read at all shows when it is looked at
