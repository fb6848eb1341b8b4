"""Apply a plan: open each photo, strip it, store it, write its row."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from typing import Protocol

from model.errors import CollectionError, PhotoError
from model.photo.stored import stored_jpeg
from training.collection.offer import FetchError, Offered, Refusal, UnreachableError, host_of
from training.collection.own import OwnSpecies
from training.collection.plan import Intake, Progress, Refusals, cause_alone, conflict, look_over, now
from training.collection.rows import Row

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


class Store(Protocol):
    """What adding asks of a collection."""

    notes: list[str]

    def known_as(self, original: str) -> tuple[str, str] | None: ...

    def put(self, data: bytes, row: Row, original: str, plant: OwnSpecies | None = None) -> str | None: ...


@dataclass
class _Run:
    species: dict[str, int] = field(default_factory=dict)
    known: int = 0
    refusals: Refusals = field(default_factory=Refusals)
    left: int = 0
    unreached: dict[str, int] = field(default_factory=dict)
    given_up: dict[str, str] = field(default_factory=dict)


def apply(intake: Intake, store: Store, progress: Progress = lambda done: None) -> Outcome:
    """Add the photos of a plan one by one; what cannot be read is refused, and the rest is added.

    It may be stopped anywhere and run again. Raises CollectionError where the plan is not
    acceptable, where the source cannot be read any more, or where the disk fails.
    """
    if not intake.acceptable:
        raise CollectionError(intake.obstacle)
    run = _Run()
    new = {plant.id: plant for plant in intake.new_species}
    for done, offered in enumerate(intake.offers(), start=1):
        if isinstance(offered, Refusal):
            run.refusals.note(offered.file, offered.why)
        elif offered.name in intake.labels:
            _take(offered, intake, store, new, run)
        progress(done)
    return Outcome(
        added=sum(run.species.values()),
        known_already=run.known,
        refused=tuple(run.refusals.listed),
        refused_more=run.refusals.more,
        unknown_names=tuple(intake.unknown_names),
        species=dict(sorted(run.species.items())),
        left=run.left,
        stopped="; ".join(run.given_up.values()),
        notes=tuple(store.notes),
    )


def _take(offered: Offered, intake: Intake, store: Store, new: Mapping[str, OwnSpecies], run: _Run) -> None:
    label = intake.labels[offered.name]
    try:
        original, group = look_over(offered)
        known = store.known_as(original)
        if known is None and host_of(offered.address) in run.given_up:
            run.left += 1
            return
        if known is None:
            with offered.get() as path, cause_alone(path):
                run.unreached.pop(host_of(offered.address), None)
                data = stored_jpeg(path)
            row = _row(offered, label, group, intake.labelled_by, hashlib.sha256(data).hexdigest())
    except UnreachableError as error:
        _note_unreached(run, offered, str(error))
    except (PhotoError, FetchError) as error:
        run.refusals.note(offered.file, str(error))
    except OSError as error:
        run.refusals.note(offered.file, error.strerror or str(error))
    else:
        if known is None:
            before = store.put(data, row, original, new.get(label))
            known = None if before is None else (row.photo, before)
        _count(offered, label, known, run)


def _count(offered: Offered, label: str, known: tuple[str, str] | None, run: _Run) -> None:
    if known is None:
        run.species[label] = run.species.get(label, 0) + 1
    elif known[1] == label:
        run.known += 1
    else:
        run.refusals.note(offered.file, conflict(*known))


def _note_unreached(run: _Run, offered: Offered, cause: str) -> None:
    """A server that cannot be reached is asked a few times more, then no more in this run."""
    host = host_of(offered.address)
    run.left += 1
    run.unreached[host] = run.unreached.get(host, 0) + 1
    run.refusals.note(offered.file, cause)
    if run.unreached[host] >= GIVE_UP_AFTER:
        run.given_up[host] = f"{host}: {cause}, for {GIVE_UP_AFTER} photos in a row"


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
