"""Plan an intake: what a source would add to the collection, and what is refused and why."""

from __future__ import annotations

import hashlib
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol

from model.errors import CollectionError, PhotoError
from model.file import sha256_of
from model.flora.name import plain
from model.text import counted, shown
from training.collection.group import group_of
from training.collection.names import id_of
from training.collection.offer import Offered, Refusal, Source, host_of
from training.collection.own import OwnSpecies

LONGEST_LIST = 1000  # refusals that are kept one by one; the rest are counted
MOST_NAMES = 20_000  # different names in one source; more cannot be plant names
LONGEST_NAME = 200  # characters of one of them
MOST_HOSTS = 1000
HOSTS_SHOWN = 12
Progress = Callable[[int], None]


@dataclass(frozen=True)
class Tally:
    """Photos of one species, the groups that they are in, and how many have no group and count alone."""

    photos: int = 0
    groups: int = 0
    ungrouped: int = 0


@dataclass
class Refusals:
    """Refusals of one run, kept up to LONGEST_LIST, counted beyond."""

    listed: list[Refusal] = field(default_factory=list)
    more: int = 0

    def note(self, file: str, why: str) -> None:
        """Add one."""
        if len(self.listed) < LONGEST_LIST:
            self.listed.append(Refusal(shown(file), shown(why, 400)))
        else:
            self.more += 1


@dataclass(frozen=True)
class Intake:
    """What adding a source would do; nothing is written before it is applied.

    ``labels`` maps each name as the source writes it to a species id or `other:<kind>`; ``hosts``
    are the servers that its photos lie on, with how many: no other is asked for them. Whether
    a picture is damaged shows only when it is added: the plan reads names and metadata.
    ``offers`` goes through the source again.
    """

    title: str
    labelled_by: str
    labels: Mapping[str, str]
    to_add: Mapping[str, Tally]
    known_already: int
    refused: tuple[Refusal, ...]
    refused_more: int
    unknown_names: Mapping[str, int]
    ambiguous: Mapping[str, tuple[str, ...]]
    new_species: tuple[OwnSpecies, ...]
    skip_unknown: bool
    hosts: Mapping[str, int]
    offers: Callable[[], Iterator[Offered | Refusal]] = field(repr=False, compare=False)

    @property
    def acceptable(self) -> bool:
        """Whether it may be applied: every name means one plant, or its photos are skipped on demand."""
        return not self.ambiguous and (self.skip_unknown or not self.unknown_names)

    @property
    def obstacle(self) -> str:
        """Why it may not be applied and what to do, in one sentence; "" if it may."""
        parts = []
        if self.unknown_names and not self.skip_unknown:
            parts.append(f"not in the key: {_few(self.unknown_names)}")
        for name, candidates in list(self.ambiguous.items())[:5]:
            parts.append(f"{shown(name)!r} may be {' or '.join(candidates)}")
        if not parts or self.acceptable:
            return ""
        remedy = "rename them by scientific name"
        if self.unknown_names and not self.skip_unknown:
            remedy += ", or pass --skip-unknown, or --accept-new to make them species of your own"
        return f"{shown(self.title)}: nothing was added: {'; '.join(parts)}; {remedy}"

    def __str__(self) -> str:
        lines = [f"{shown(self.title)}: {counted(sum(t.photos for t in self.to_add.values()), 'photo')} to add"]
        new = {plant.id for plant in self.new_species}
        for label, tally in sorted(self.to_add.items()):
            alone = f", {tally.ungrouped} of no known group" if tally.ungrouped else ""
            own = " (new species of your own)" if label in new else ""
            lines.append(f"  {label}{own}: {counted(tally.photos, 'photo')} in {counted(tally.groups, 'group')}{alone}")
        for host, count in list(self.hosts.items())[:HOSTS_SHOWN]:
            lines.append(f"  to be fetched from {shown(host)}: {counted(count, 'photo')}")
        if len(self.hosts) > HOSTS_SHOWN:
            lines.append(f"  to be fetched from {len(self.hosts) - HOSTS_SHOWN} servers more")
        if self.known_already:
            lines.append(f"  in the collection already: {self.known_already}")
        for name, count in self.unknown_names.items():
            skipped = ", skipped" if self.skip_unknown else ""
            lines.append(f"  not in the key: {shown(name)} ({counted(count, 'photo')}{skipped})")
        for name, candidates in self.ambiguous.items():
            lines.append(f"  several plants are called {shown(name)}: {', '.join(candidates)}")
        lines += [f"  refused: {refusal.file}: {refusal.why}" for refusal in self.refused]
        if self.refused_more:
            lines.append(f"  refused: {self.refused_more} more")
        return "\n".join(lines)


class LookUp(Protocol):
    """What the planner asks of names."""

    def look_up(self, text: str) -> str | list[str] | None: ...


class Known(Protocol):
    """What the planner asks of a collection: photo and label of an original that it holds, by its sha256."""

    def known_as(self, original: str) -> tuple[str, str] | None: ...


def plan_intake(
    source: Source,
    names: LookUp,
    collection: Known,
    labelled_by: str,
    *,
    accept_new: bool = False,
    skip_unknown: bool = False,
    progress: Progress = lambda done: None,
) -> Intake:
    """Go through a source once: resolve its names, look for what is known, count species and groups.

    Photos are opened only while every name so far is known. Raises CollectionError where the
    source itself cannot be read, or a new species cannot have the name it has.
    """
    planner = _Planner(names, collection, labelled_by, accept_new, skip_unknown)
    for done, offered in enumerate(source.offers(), start=1):
        planner.see(offered)
        progress(done)
    return planner.intake(source)


class _Planner:
    def __init__(self, names: LookUp, collection: Known, by: str, accept_new: bool, skip_unknown: bool) -> None:
        self.names, self.collection, self.by = names, collection, by
        self.accept_new, self.skip_unknown = accept_new, skip_unknown
        self.labels: dict[str, str] = {}
        self.photos: Counter[str] = Counter()
        self.alone: Counter[str] = Counter()
        self.groups: defaultdict[str, set[bytes]] = defaultdict(set)
        self.hosts: Counter[str] = Counter()
        self.known = 0
        self.refusals = Refusals()
        self.unknown: Counter[str] = Counter()
        self.ambiguous: dict[str, tuple[str, ...]] = {}
        self.new: dict[str, OwnSpecies] = {}

    def see(self, offered: Offered | Refusal) -> None:
        if isinstance(offered, Refusal):
            self.refusals.note(offered.file, offered.why)
            return
        if len(offered.name) > LONGEST_NAME:
            self.refusals.note(offered.file, f"names its species in over {LONGEST_NAME} characters")
            return
        if offered.address:
            self.hosts[host_of(offered.address)] += 1
            if len(self.hosts) > MOST_HOSTS:
                raise CollectionError(f"its photos lie on over {MOST_HOSTS} servers; ask for a smaller archive")
        label = self.labels.get(offered.name) or self._resolve(offered)
        if label is None or self.ambiguous or (self.unknown and not self.skip_unknown):
            return
        try:
            original, group = look_over(offered)
        except PhotoError as error:
            self.refusals.note(offered.file, str(error))
        except OSError as error:
            self.refusals.note(offered.file, error.strerror or str(error))
        else:
            self._count(offered, label, original, group)

    def _count(self, offered: Offered, label: str, original: str, group: str) -> None:
        known = self.collection.known_as(original)
        if known is not None and known[1] == label:
            self.known += 1
        elif known is not None:
            self.refusals.note(offered.file, conflict(*known))
        else:
            self.photos[label] += 1
            if group:  # digests, so that memory does not grow with the length of names
                self.groups[label].add(hashlib.sha256(group.encode("utf-8", "replace")).digest()[:8])
            else:
                self.alone[label] += 1

    def _resolve(self, offered: Offered) -> str | None:
        name = offered.name
        if name in self.unknown:
            self.unknown[name] += 1
            return None
        if name in self.ambiguous:
            return None
        found = self.names.look_up(name)
        if isinstance(found, list):
            self.ambiguous[name] = tuple(found)
            return None
        if found is None and self.accept_new:
            found = self._new_species(name, offered.scientific)
        if found is None:
            self.unknown[name] = 1
        else:
            self.labels[name] = found
        if len(self.unknown) + len(self.labels) > MOST_NAMES:
            raise CollectionError(f"over {MOST_NAMES} different plant names; check which column or folder names them")
        return found

    def _new_species(self, name: str, scientific: bool) -> str:
        """Another spelling of a name that is new in this source is the same species."""
        for plant in self.new.values():
            if plain(name) in (plain(plant.id), plain(plant.common_names[0])):
                return plant.id
        species = id_of(name)
        if species not in self.new:
            words = " ".join(name.replace("_", " ").split())
            self.new[species] = OwnSpecies(
                id=species,
                scientific_name=words if scientific else "",
                common_names=[words],
                labelled_by=self.by,
                added_at=now(),
            )
        return species

    def intake(self, source: Source) -> Intake:
        return Intake(
            title=source.title,
            labelled_by=self.by,
            labels=self.labels,
            to_add={
                label: Tally(photos, len(self.groups[label]) + self.alone[label], self.alone[label])
                for label, photos in self.photos.items()
            },
            known_already=self.known,
            refused=tuple(self.refusals.listed),
            refused_more=self.refusals.more,
            unknown_names=self.unknown,
            ambiguous=self.ambiguous,
            new_species=tuple(self.new.values()),
            skip_unknown=self.skip_unknown,
            hosts=self.hosts,
            offers=source.offers,
        )


def look_over(offered: Offered) -> tuple[str, str]:
    """The key by which an original is known again, and its group, without decoding it; nothing is fetched.

    Raises PhotoError with the cause alone, CollectionError and OSError.
    """
    if offered.address:
        return hashlib.sha256(f"address {offered.address}".encode("utf-8", "replace")).hexdigest(), offered.group
    with offered.get() as path, cause_alone(path):
        # Read even where the source gives the group: it shows whether this is a photo at all.
        day = group_of(path)
        return sha256_of(path), offered.group or day or offered.visit


@contextmanager
def cause_alone(path: Path) -> Iterator[None]:
    """Take the file's name off a PhotoError: it may be a temporary one, and the user knows the photo by another."""
    try:
        yield
    except PhotoError as error:
        raise PhotoError(str(error).removeprefix(f"{path}: ")) from None


def conflict(photo: str, label: str) -> str:
    """Why a photo that is in the collection under another name is not taken."""
    return f"is in the collection as {label}; to change that, run collect relabel {photo[3:15]} SPECIES"


def now() -> str:
    """The time, UTC, to the second."""
    return f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}"


def _few(names: Mapping[str, int], most: int = 8) -> str:
    listed = ", ".join(repr(shown(name, 60)) for name in list(names)[:most])
    return listed + (f" and {len(names) - most} more" if len(names) > most else "")
