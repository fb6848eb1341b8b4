"""A folder of folders: FOLDER/<species>/photo.jpg, or FOLDER/<species>/<visit>/photo.jpg; or one such species alone."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path, PurePosixPath

from model.file import is_litter
from training.collection.names import OTHER_FOLDER
from training.collection.offer import Offered, Origin, Refusal, Tree

NO_FOLDER = "lies in no folder that names a species; move it into one, or name the species with --as"
DEEPEST = 30  # folders within one another
A_LINK = "is a link; put the photo itself there"


class FolderTree:
    """The files under a folder of this machine, or ``only`` those named. Links inside it are not followed."""

    def __init__(self, top: Path, only: Sequence[str] = ()) -> None:
        self.top, self.only = top, only
        self.title = str(top / only[0] if only else top)
        self._real = top.resolve()

    def names(self) -> Iterator[str | Refusal]:
        """All files in alphabetical order; links and folders that cannot be read are refused."""
        return iter(self.only) if self.only else self._walk(self.top, PurePosixPath())

    def _walk(self, folder: Path, place: PurePosixPath) -> Iterator[str | Refusal]:
        try:
            entries = sorted(os.scandir(folder), key=lambda entry: entry.name)
        except OSError as error:
            yield Refusal(str(place), error.strerror or str(error))
            return
        for entry in entries:
            name = place / entry.name
            if is_litter(entry.name):
                continue
            if entry.is_symlink():
                yield Refusal(str(name), A_LINK)
            elif entry.is_dir(follow_symlinks=False) and len(name.parts) > DEEPEST:
                yield Refusal(str(name), f"lies {DEEPEST} folders deep; move it up")
            elif entry.is_dir(follow_symlinks=False):
                yield from self._walk(folder / entry.name, name)
            elif entry.is_file(follow_symlinks=False):
                yield str(name)
            else:
                yield Refusal(str(name), "is not a file")

    def has(self, name: str) -> bool:
        """Whether there is such a file inside; a link out of the folder does not count."""
        try:
            file = self.top / name
            return file.is_file() and file.resolve().is_relative_to(self._real)
        except (OSError, ValueError, RuntimeError):
            return False

    @contextmanager
    def get(self, name: str) -> Iterator[Path]:
        """The file itself."""
        yield self.top / name


@dataclass(frozen=True)
class Folders:
    """Photos in folders that are named after species; `_other/<kind>` holds plants outside the flora.

    ``as_name`` names the species of every photo instead, and all folders are visits.
    """

    tree: Tree
    origin: Origin
    as_name: str = ""

    @property
    def title(self) -> str:
        return self.tree.title

    def offers(self) -> Iterator[Offered | Refusal]:
        """Every photo, in the order of its name."""
        for name in self.tree.names():
            yield name if isinstance(name, Refusal) else self._offer(name)

    def _offer(self, name: str) -> Offered | Refusal:
        *folders, _ = PurePosixPath(name).parts
        plant = self.as_name
        if not plant:
            depth = 2 if folders and folders[0] == OTHER_FOLDER else 1
            if len(folders) < depth:
                return Refusal(name, NO_FOLDER)
            plant, folders = "/".join(folders[:depth]), folders[depth:]
        return Offered(
            file=name,
            name=plant,
            get=partial(self.tree.get, name),
            visit="/".join(folders),
            source=self.origin.source,
            creator=self.origin.creator,
            licence=self.origin.licence,
        )
