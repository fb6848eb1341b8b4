"""Plan an intake: what a source would add to the collection, and what is refused and why."""

from __future__ import annotations

import hashlib
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import MappingProxyType
from typing import Protocol

from model.errors import CollectionError, PhotoError
from model.file import sha256_of
from model.flora.name import plain
from training.collection.group import group_of
from training.collection.intake import Intake, Refusals, Tally
from training.collection.names import id_of
from training.collection.offer import Offered, Refusal, Source, host_of
from training.collection.own import OwnSpecies

MOST_NAMES = 20_000  # different names in one source; more cannot be plant names
LONGEST_NAME = 200  # characters of one of them
MOST_HOSTS = 1000
MOST_NEAR = 200  # suggestions for names that are refused anyhow
LEAVE_OUT = ""  # in place of a species: the photos of a name are left out
Progress = Callable[[int], None]


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
    near: Callable[[str], str] = lambda name: "",
    new_names: Collection[str] = (),
    meant: Mapping[str, str] = MappingProxyType({}),
    progress: Progress = lambda done: None,
) -> Intake:
    """Go through a source once: resolve its names, look for what is known, count species and groups.

    ``near`` says which known plants a name may mean, "" where none; with ``accept_new``, only names that are near none
    become new species, and those in ``new_names``. ``meant``: what a person says of a name of the source, its species
    or LEAVE_OUT. Raises CollectionError where the source itself cannot be read, or a new species cannot have the name
    it has.
    """
    planner = _Planner(names, collection, labelled_by, _Wish(accept_new, skip_unknown, near, new_names, meant))
    for done, offered in enumerate(source.offers(), start=1):
        planner.see(offered)
        progress(done)
    return planner.intake(source)


@dataclass(frozen=True)
class _Wish:
    """What is to be done with names that are not known."""

    accept_new: bool
    skip_unknown: bool
    near: Callable[[str], str]
    new_names: Collection[str]
    meant: Mapping[str, str]

    def confirms(self, name: str) -> bool:
        return any(plain(name) == plain(new) for new in self.new_names)


class _Planner:
    def __init__(self, names: LookUp, collection: Known, by: str, wish: _Wish) -> None:
        self.names, self.collection, self.by, self.wish = names, collection, by, wish
        self.labels: dict[str, str] = {}
        self.photos: Counter[str] = Counter()
        self.alone: Counter[str] = Counter()
        self.groups: defaultdict[str, set[bytes]] = defaultdict(set)
        self.hosts: Counter[str] = Counter()
        self.known = 0
        self.refusals = Refusals()
        self.unknown: Counter[str] = Counter()
        self.left_out: Counter[str] = Counter()
        self.ambiguous: dict[str, tuple[str, ...]] = {}
        self.ambiguous_photos: Counter[str] = Counter()
        self.near: dict[str, str] = {}
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
        if label is None:
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
        if self.wish.meant.get(name) == LEAVE_OUT:
            self.left_out[name] += 1
            return None
        if name in self.unknown:
            self.unknown[name] += 1
            return None
        if name in self.ambiguous:
            self.ambiguous_photos[name] += 1
            return None
        found = self.wish.meant.get(name) or self.names.look_up(name)
        if isinstance(found, list):
            self.ambiguous[name], self.ambiguous_photos[name] = tuple(found), 1
            return None
        if found is None:
            found = self._unless_near(name, offered.scientific)
        if found is None:
            self.unknown[name] = 1
        else:
            self.labels[name] = found
        if len(self.unknown) + len(self.labels) > MOST_NAMES:
            raise CollectionError(f"over {MOST_NAMES} different plant names; check which column or folder names them")
        return found

    def _unless_near(self, name: str, scientific: bool) -> str | None:
        """The species that a name newly stands for; None where it may be a known one, or no new one is wanted."""
        if self.wish.confirms(name):
            return self._new_species(name, scientific)
        meant = self.wish.near(name) if self.wish.accept_new or len(self.unknown) < MOST_NEAR else ""
        if meant:
            self.near[name] = meant
        return self._new_species(name, scientific) if self.wish.accept_new and not meant else None

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
            left_out=self.left_out,
            ambiguous=self.ambiguous,
            ambiguous_photos=self.ambiguous_photos,
            near=self.near,
            accept_new=self.wish.accept_new,
            new_species=tuple(self.new.values()),
            skip_unknown=self.wish.skip_unknown,
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
