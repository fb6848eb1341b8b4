"""The photo that stands for a plant on pages and papers: one of the user's collection, with whom to credit for it.

Libraries are imported within functions: pages start with this module.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from app.services.collection import own_collection
from app.services.home import home
from model.errors import SwardkeyError
from model.text import shown

if TYPE_CHECKING:
    from app.papers.plant_figure import SheetPhoto
    from model.flora import Flora

ON_PAPER = (720, 720)  # px: 40 mm at 450 to the inch
OF_THIS = "The plant itself, as it was photographed for this advice."
ONE_OF_THESE = "One of them, as it was photographed for this advice."
OWN = "from your collection"


@dataclass(frozen=True)
class PlantPhoto:
    """A photo of the collection. ``licence`` is "" for the user's own; ``page`` an address, or ""."""

    name: str
    file: Path
    creator: str = ""
    licence: str = ""
    page: str = ""

    @property
    def is_own(self) -> bool:
        """Whether it came without a licence, as one's own photos do: it is not passed on to others."""
        return not self.licence

    @property
    def credit(self) -> str:
        """Whom to credit and under which licence, in a few words."""
        return OWN if self.is_own else f"{shown(self.creator) or 'creator not stated'}, {self.licence}"


def photo_of(species: str, passed_on: bool = False) -> PlantPhoto | None:
    """A photo of a species that the user has collected: an own one first, then an open one; None where there is none.

    ``passed_on``: only an open one, for what is handed to others.
    """
    kept = _photos(home() / "collection")
    return kept.get(f"open {species}") if passed_on else kept.get(species)


def shown_file(name: str) -> Path | None:
    """The file of a photo that stands for a plant, by its name in the collection; None for any other name."""
    found = (photo.file for photo in _photos(home() / "collection").values() if photo.name == name)
    return next(found, None)


def paper_photo(own: Iterable[Path], species: Sequence[str], flora: Flora) -> SheetPhoto | None:
    """What shows a plant on a paper for others: an ``own`` photo of the plant itself, else an open one of its species.

    None where there is none that can be read, and for several species without an own one.
    """
    for file in own:
        if photo := _on_paper(file, OF_THIS):
            return photo
    kept = photo_of(species[0], passed_on=True) if len(species) == 1 else None
    if kept is None:
        return None
    name = flora.species[species[0]].common_name
    words = f"Another plant of {name}, photographed by {kept.credit}."
    return _on_paper(kept.file, f"{words}\n{kept.page}" if kept.page else words)


def _on_paper(file: Path, caption: str) -> SheetPhoto | None:
    from app.papers.plant_figure import SheetPhoto
    from model.photo.thumbnail import jpeg_thumbnail

    data = jpeg_thumbnail(file, ON_PAPER, quality=85)
    return SheetPhoto(data, caption) if data else None


def _photos(folder: Path) -> Mapping[str, PlantPhoto]:
    """The photo of each species, and under ``open <species>`` its first open one; read again when one is added."""
    try:
        state = (folder / "manifest.csv").stat()
    except OSError:
        return {}
    return _chosen(folder, state.st_mtime_ns, state.st_size)


@lru_cache(maxsize=2)
def _chosen(folder: Path, changed: int, size: int) -> Mapping[str, PlantPhoto]:
    from training.collection.licence import OPEN, kind_of

    try:
        photos = own_collection(folder).photos()
    except (SwardkeyError, OSError):  # the commands and pages of the collection say what is wrong with it
        return {}
    own: dict[str, PlantPhoto] = {}
    free: dict[str, PlantPhoto] = {}
    for photo in photos:
        kept = free if photo.licence else own
        if photo.label in kept or (photo.licence and kind_of(photo.licence) not in OPEN) or not photo.file.is_file():
            continue
        page = photo.source if photo.source.startswith(("https://", "http://")) else ""
        kept[photo.label] = PlantPhoto(photo.name, photo.file, photo.creator, photo.licence, page)
    return {**free, **own, **{f"open {species}": photo for species, photo in free.items()}}
