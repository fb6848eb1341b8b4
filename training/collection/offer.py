"""What a source offers: photos under the names that the source gives them, before anything is judged."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol
from urllib.parse import urlsplit

from model.errors import CollectionError, PhotoError


class FetchError(CollectionError):
    """A photo that cannot be fetched; the message is the cause alone."""


class UnreachableError(FetchError):
    """A server that does not answer now; another run may find it."""


@dataclass(frozen=True)
class Refusal:
    """A photo or row that is not taken: what the user calls it, and the reason, each in a few words."""

    file: str
    why: str


@dataclass(frozen=True)
class Offered:
    """One photo of a source.

    ``file`` is what the user calls it; ``name`` what the source calls the plant; ``get`` opens
    it as a file on this machine for as long as the context lasts, and raises PhotoError,
    CollectionError or OSError. ``group`` is given by the source; ``visit`` is a folder's name, used
    when the photo's own metadata give no day. ``address`` is set where ``get`` fetches it
    from the network. ``scientific`` says that the name is a scientific one.
    """

    file: str
    name: str
    get: Callable[[], AbstractContextManager[Path]] = field(repr=False, compare=False)
    group: str = ""
    visit: str = ""
    source: str = ""
    creator: str = ""
    licence: str = ""
    labelled_by: str = ""
    note: str = ""
    address: str = ""
    scientific: bool = False


@dataclass(frozen=True)
class Origin:
    """Where photos come from and whose they are, for those of which the source itself does not say."""

    source: str = "own photos"
    creator: str = ""
    licence: str = ""


class Tree(Protocol):
    """Files under one top, on disk or in a zip; names are relative, with forward slashes."""

    title: str

    def names(self) -> Iterator[str | Refusal]:
        """All files, in a fixed order, and those that are refused as they stand."""
        ...

    def has(self, name: str) -> bool:
        """Whether there is such a file inside."""
        ...

    def get(self, name: str) -> AbstractContextManager[Path]:
        """The file on disk for as long as the context lasts."""
        ...


@contextmanager
def needed(tree: Tree, name: str) -> Iterator[Path]:
    """A file without which the whole source cannot be read. Raises CollectionError naming it."""
    try:
        with tree.get(name) as path:
            yield path
    except PhotoError as error:
        raise CollectionError(f"{tree.title}/{name}: {error}; bring the source again") from None


class Source(Protocol):
    """Anything that offers photos; the same ones each time it is asked."""

    @property
    def title(self) -> str: ...

    def offers(self) -> Iterator[Offered | Refusal]: ...


def host_of(address: str) -> str:
    """The host and port of an address, "" where it has none."""
    try:
        return urlsplit(address).netloc
    except ValueError:
        return ""
