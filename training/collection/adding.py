"""Apply a plan: open each photo, strip it, store it, write its row."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from typing import Protocol

from model.errors import CollectionError, PhotoError
from model.photo.stored import stored_jpeg
from training.collection.intake import Intake, Refusals
from training.collection.offer import FetchError, Offered, Refusal, UnreachableError, host_of
from training.collection.own import OwnSpecies
from training.collection.plan import Known, Progress, cause_alone, conflict, look_over, now

GIVE_UP_AFTER = 3  # photos in a row whose server cannot be reached


@dataclass(frozen=True)
class Outcome:
    """What an intake did. ``species``: photos added in this run by label; ``left``: not fetched, for another run."""

    added: int
    known_already: int
    refused: tuple[Refusal, ...]
    refused_more: int
    unknown_names: tuple[str, ...]
    species: Mapping[str, int]
    left: int = 0
    stopped: str = ""
    notes: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class Row:
    """One row of the collection's manifest.

    ``photo`` is `ab/<sha256>.jpg`; ``species`` an id or `other:<kind>`; ``group`` is "" where
    the photo is a group of its own; ``labelled_at`` is UTC; ``action`` is add, relabel or remove.
    """

    photo: str
    species: str
    group: str
    source: str
    creator: str
    licence: str
    labelled_by: str
    labelled_at: str
    action: str
    note: str


class Store(Known, Protocol):
    """What adding asks of a collection."""

    notes: list[str]

    def put(self, data: bytes, row: Row, original: str, plant: OwnSpecies | None = None) -> str | None: ...


def apply(intake: Intake, store: Store, progress: Progress = lambda done: None) -> Outcome:
    """Add the photos of a plan one by one; what cannot be read is refused, and the rest is added.

    It may be stopped anywhere and run again. Raises CollectionError where the plan is not
    acceptable, where the source cannot be read any more, or where the disk fails.
    """
    if not intake.acceptable:
        raise CollectionError(intake.obstacle)
    run = _Run(intake, store)
    for done, offered in enumerate(intake.offers(), start=1):
        if isinstance(offered, Refusal):
            run.refusals.note(offered.file, offered.why)
        elif offered.name in intake.labels:
            run.take(offered)
        progress(done)
    return Outcome(
        added=run.species.total(),
        known_already=run.known,
        refused=tuple(run.refusals.listed),
        refused_more=run.refusals.more,
        unknown_names=tuple(intake.unknown_names),
        species=dict(sorted(run.species.items())),
        left=run.left,
        stopped="; ".join(run.given_up.values()),
        notes=tuple(store.notes),
    )


class _Run:
    """One intake while it goes on, and what it has counted so far."""

    def __init__(self, intake: Intake, store: Store) -> None:
        self.intake, self.store = intake, store
        self.new = {plant.id: plant for plant in intake.new_species}
        self.species: Counter[str] = Counter()
        self.known = self.left = 0
        self.refusals = Refusals()
        self.unreached: Counter[str] = Counter()
        self.given_up: dict[str, str] = {}

    def take(self, offered: Offered) -> None:
        """Add one photo, or note why not."""
        try:
            self._add(offered, self.intake.labels[offered.name], host_of(offered.address))
        except UnreachableError as error:
            self._note_unreached(offered, str(error))
        except (PhotoError, FetchError) as error:
            self.refusals.note(offered.file, str(error))
        except OSError as error:
            self.refusals.note(offered.file, error.strerror or str(error))

    def _add(self, offered: Offered, label: str, host: str) -> None:
        original, group = look_over(offered)
        known = self.store.known_as(original)
        if known is None and host in self.given_up:
            self.left += 1
            return
        if known is None:
            with offered.get() as path, cause_alone(path):
                self.unreached.pop(host, None)
                data = stored_jpeg(path)
            row = _row(offered, label, group, self.intake.labelled_by, hashlib.sha256(data).hexdigest())
            before = self.store.put(data, row, original, self.new.get(label))
            known = None if before is None else (row.photo, before)
        if known is None:
            self.species[label] += 1
        elif known[1] == label:
            self.known += 1
        else:
            self.refusals.note(offered.file, conflict(*known))

    def _note_unreached(self, offered: Offered, cause: str) -> None:
        """A server that cannot be reached is asked a few times more, then no more in this run."""
        host = host_of(offered.address)
        self.left += 1
        self.unreached[host] += 1
        self.refusals.note(offered.file, cause)
        if self.unreached[host] >= GIVE_UP_AFTER:
            self.given_up[host] = f"{host}: {cause}, for {GIVE_UP_AFTER} photos in a row"


def _row(offered: Offered, label: str, group: str, by: str, digest: str) -> Row:
    return Row(
        photo=f"{digest[:2]}/{digest}.jpg",
        species=label,
        group=group,
        source=offered.source,
        creator=offered.creator,
        licence=offered.licence,
        labelled_by=offered.labelled_by or by,
        labelled_at=now(),
        action="add",
        note=offered.note or PurePosixPath(offered.file).name,
    )
