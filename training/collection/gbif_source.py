"""Plan which open photos to fetch of which species, and offer them to the collection like any other source."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, ExitStack, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from model.text import counted, shown
from training.collection.fetch import Fetcher
from training.collection.gbif import Taxon, match_name, observations
from training.collection.offer import FetchError, Offered, Refusal, host_of
from training.collection.open_photo import OpenPhoto, choose, credits_of, photos_of
from training.collection.open_rules import OpenRules, Region

CREDITS_SHOWN = 8
ARCHIVE = "gbif.org"  # by whose names the photos are labelled
Progress = Callable[[str], None]


@dataclass(frozen=True)
class FoundSpecies:
    """What was found of one species: the photos that were chosen, or why there are none, in ``note``."""

    species: str
    name: str
    photos: tuple[OpenPhoto, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class OpenPlan:
    """What would be fetched; prints well. ``kinds``: the licences that were asked for."""

    found: tuple[FoundSpecies, ...]
    kinds: tuple[str, ...]
    rules: OpenRules

    @property
    def photos(self) -> tuple[OpenPhoto, ...]:
        """All photos, species by species."""
        return tuple(photo for one in self.found for photo in one.photos)

    @property
    def megabytes(self) -> float:
        """How much is fetched, roughly: the archive does not say how large its pictures are."""
        return len(self.photos) * self.rules.photo_megabytes

    @property
    def minutes(self) -> float:
        """How long it takes, roughly, one photo after the other."""
        return len(self.photos) * self.rules.photo_seconds / 60

    def as_json(self) -> dict[str, Any]:
        """The plan as data: counts by species and licence, size, time, and whom to credit."""
        return {
            "species": {one.species: {"photos": len(one.photos), "note": one.note} for one in self.found},
            "photos": len(self.photos),
            "licences": dict(Counter(photo.licence for photo in self.photos).most_common()),
            "megabytes": round(self.megabytes, 1),
            "minutes": round(self.minutes, 1),
            "credits": credits_of(self.photos),
        }

    def __str__(self) -> str:
        lines = []
        for one in self.found:
            groups = len({photo.group for photo in one.photos})
            many = f"{counted(len(one.photos), 'photo')} by {counted(groups, 'observer')}" if one.photos else "none"
            lines.append(f"  {one.name}: {many}" + (f" ({one.note})" if one.note else ""))
        licences = Counter(photo.licence for photo in self.photos).most_common()
        lines.append(f"Licences: {', '.join(f'{count} {licence}' for licence, count in licences) or 'none'}")
        credit = credits_of(self.photos)
        first = ", ".join(f"{shown(name)} ({count})" for name, count in list(credit.items())[:CREDITS_SHOWN])
        more = f" and {len(credit) - CREDITS_SHOWN} more" if len(credit) > CREDITS_SHOWN else ""
        if credit:
            lines.append(f"To be credited: {first}{more}; `collect credits` lists them all")
        size = f"about {self.megabytes:.0f} MB in {counted(max(round(self.minutes), 1), 'minute')}"
        lines.append(f"To be fetched: {counted(len(self.photos), 'photo')}, {size}")
        return "\n".join(lines)


@dataclass(frozen=True)
class OpenPhotos:
    """The photos of a plan as a source of the collection."""

    plan: OpenPlan
    fetcher: Fetcher
    title: str = "open photos"

    def offers(self) -> Iterator[Offered | Refusal]:
        """Each photo that was chosen, under the scientific name of its species."""
        for one in self.plan.found:
            for photo in one.photos:
                self.fetcher.agreed |= {host_of(address).casefold() for address in (photo.address, photo.copy)}
                yield Offered(
                    file=photo.address,
                    name=one.name,
                    get=partial(self._get, photo),
                    group=photo.group,
                    source=photo.page,
                    creator=photo.creator,
                    licence=photo.licence,
                    labelled_by=ARCHIVE,
                    note=photo.address,
                    address=photo.address,
                    scientific=True,
                )

    def _get(self, photo: OpenPhoto) -> AbstractContextManager[Path]:
        return _first_of(self.fetcher, photo.address, photo.copy)


@contextmanager
def _first_of(fetcher: Fetcher, *addresses: str) -> Iterator[Path]:
    """A photo from its publisher, else from the archive's own copy. Raises what the first one raised."""
    with ExitStack() as stack:
        fault: FetchError | None = None
        for address in addresses:
            try:
                path = stack.enter_context(fetcher.get(address))
                break
            except FetchError as error:
                fault = fault or error
        else:
            assert fault is not None
            raise fault
        yield path


def plan_open(
    names: Mapping[str, str], each: int, kinds: Sequence[str], countries: Sequence[str], rules: OpenRules,
    progress: Progress = lambda species: None,
) -> OpenPlan:  # fmt: skip
    """Look for at most ``each`` photos of every species; ``names`` are ids to scientific names.

    ``countries``: in place of the regions of the rules. Doubtful names are noted and skipped. Raises CollectionError
    where the archive cannot be reached.
    """
    regions = [Region(name="", countries=tuple(countries))] if countries else list(rules.regions)
    found = []
    for species, name in names.items():
        progress(species)
        taxon = match_name(name)
        if isinstance(taxon, str):
            found.append(FoundSpecies(species, name, note=f"skipped: {shown(taxon)}"))
            continue
        photos = choose(_candidates(taxon, species, each, kinds, regions, rules), each, rules)
        renamed = f"there under {taxon.name}" if taxon.name and taxon.name != name else ""
        few = "no photo under these licences" if not photos else ""
        found.append(FoundSpecies(species, name, photos, "; ".join(filter(None, (renamed, few)))))
    return OpenPlan(tuple(found), tuple(kinds), rules)


def _candidates(
    taxon: Taxon, species: str, each: int, kinds: Sequence[str], regions: Sequence[Region], rules: OpenRules
) -> list[OpenPhoto]:
    """Photos from region after region, until there are enough to choose from."""
    found: list[OpenPhoto] = []
    for number, region in enumerate(regions):
        records = observations(taxon, region.countries, region.provinces, rules.basis, rules.looked_through)
        found += [photo for record in records for photo in photos_of(record, species, number, kinds, rules)]
        if len(choose(found, each, rules)) >= each:
            break
    return found
