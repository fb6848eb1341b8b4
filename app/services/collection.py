"""The user's collection of labelled photos, as commands and pages open, check and change it.

Libraries are imported within functions: the command line starts with this module.
"""

from __future__ import annotations

import getpass
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from app.services.home import cache_folder, home
from app.services.progress import bar
from model.errors import CollectionError

if TYPE_CHECKING:
    from model.flora import Flora
    from training.audit import Decision, Report
    from training.collection import Collection, Names
    from training.data.manifest import LabelledPhoto


def open_all(folder: Path | None) -> tuple[Collection, Names, Flora]:
    """The collection, the names of all plants, and the flora."""
    from app.services.knowledge import ParsedFiles
    from model.flora import load_flora
    from training.collection import Collection, Names

    files = ParsedFiles(cache_folder() / "configs.json")
    flora = load_flora(read=files)
    files.keep()
    collection = Collection(folder or home() / "collection").open()
    return collection, Names(flora, collection.own_species()), flora


def labeller(by: str) -> str:
    """Who labels: as given, or the user of this machine."""
    if by:
        return by
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return "unknown"


def checked(
    photos: Sequence[LabelledPhoto], with_starter: bool, wanted: Sequence[str], unlabelled: Path | None, quiet: bool
) -> Report:
    """What is wrong with labelled photos, and which of those ``unlabelled`` to label next.

    ``with_starter``: judged by the shipped model's statistics too. Raises CollectionError, PhotoError.
    """
    from model.photo.saved import STARTER, read_model
    from training.audit import check_photos, load_settings
    from training.data.features import features_of
    from training.data.manifest import LabelledPhoto

    cache = home() / "cache" / "features.safetensors"
    with bar("features", len(photos), quiet) as progress:
        x, _ = features_of(photos, cache, lambda done, of: progress(done))
    others = None
    if unlabelled is not None:
        files = _files(unlabelled)
        loose = [LabelledPhoto(f, str(f.relative_to(unlabelled)), "", str(f), False, "", "", "") for f in files]
        with bar("unlabelled", len(loose), quiet) as progress:
            others = ([p.name for p in loose], features_of(loose, cache, lambda done, of: progress(done))[0])
    background = read_model(STARTER)[0] if with_starter else None
    with bar("looking", len(photos), quiet) as progress:
        return check_photos(photos, x, load_settings(), background, wanted, others, progress=progress)


def _files(folder: Path) -> list[Path]:
    from training.data.labelled import photos_below

    if not folder.is_dir():
        raise CollectionError(f"--unlabelled {folder}: no such folder; name one with photos")
    found = photos_below(folder)
    if not found:
        raise CollectionError(f"--unlabelled {folder}: holds no photos; name a folder with some")
    return found


def carry_out(collection: Collection, decision: Decision, by: str) -> None:
    """Do what was decided about one photo. Raises CollectionError."""
    if decision.action == "relabel":
        collection.relabel(decision.photo, decision.species, by)
    elif decision.action == "drop":
        collection.remove(decision.photo, by)
