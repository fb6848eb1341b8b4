"""Photos of a plant that the tool has proven to be what it is, taken in when the user says so."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from model.errors import CollectionError
from model.file import sha256_of
from training.collection.adding import Outcome
from training.collection.folder import FolderTree
from training.collection.offer import Offered, Refusal
from training.collection.plan import plan_intake
from training.collection.store import Collection

SOURCE = "confirmed identification"


def add_confirmed(
    collection: Collection,
    photos: Sequence[Path],
    finding_species: str,
    labelled_by: str,
    group: str = "",
    *,
    status: str,
    agreed: bool,
) -> Outcome:
    """Add the photos of one finding under its species.

    ``status`` is that of the Finding and must be `confirmed`; ``agreed`` is the user's own yes.
    Without ``group``, it is the day and camera of the photo, or else this one plant. Raises
    CollectionError where either is missing, or where the disk fails.
    """
    if status != "confirmed" or not agreed:
        why = "the user has not said yes" if status == "confirmed" else f"the finding is {status}, not confirmed"
        raise CollectionError(f"photos of {finding_species} were not added: {why}")
    source = _OnePlant(tuple(photos), finding_species, labelled_by, group)
    return collection.add(plan_intake(source, _Named(finding_species), collection, labelled_by))


@dataclass(frozen=True)
class _Named:
    """The finding has named the species already, by its id."""

    species: str

    def look_up(self, text: str) -> str | None:
        return text if text == self.species else None


@dataclass(frozen=True)
class _OnePlant:
    photos: tuple[Path, ...]
    species: str
    creator: str
    group: str

    @property
    def title(self) -> str:
        return f"{len(self.photos)} photos of {self.species}"

    def offers(self) -> Iterator[Offered | Refusal]:
        plant = ""
        for photo in self.photos:
            if not photo.is_file():
                yield Refusal(photo.name, "no such file")
                continue
            plant = plant or f"plant {sha256_of(photo)[:8]}"
            yield Offered(
                file=photo.name,
                name=self.species,
                get=partial(FolderTree(photo.parent).get, photo.name),
                group=self.group,
                visit=plant,
                source=SOURCE,
                creator=self.creator,
            )
