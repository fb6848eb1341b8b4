"""What adding a source to the collection would do: photos by species, and every refusal by name and count."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

from model.text import counted, shown
from training.collection.offer import Offered, Refusal
from training.collection.own import OwnSpecies

LONGEST_LIST = 1000  # refusals that are kept one by one; the rest are counted
HOSTS_SHOWN = 12


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
    ``offers`` goes through the source again. ``unknown_names`` and ``ambiguous_photos`` say how many photos each name
    is refused for, ``left_out`` how many of each are left out on a person's word; ``near`` which known plants an
    unknown name may mean, in words; ``accept_new``: such names are refused although unknown ones were to become new
    species.
    """

    title: str
    labelled_by: str
    labels: Mapping[str, str]
    to_add: Mapping[str, Tally]
    known_already: int
    refused: tuple[Refusal, ...]
    refused_more: int
    unknown_names: Mapping[str, int]
    left_out: Mapping[str, int]
    ambiguous: Mapping[str, tuple[str, ...]]
    ambiguous_photos: Mapping[str, int]
    near: Mapping[str, str]
    accept_new: bool
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
        if self.acceptable:
            return ""
        parts = []
        if self.unknown_names and not self.skip_unknown:
            listed = {name: self._doubt(name) for name in self.unknown_names}
            parts.append(f"not in the key: {_few(listed)}")
        for name, candidates in list(self.ambiguous.items())[:5]:
            photos = counted(self.ambiguous_photos[name], "photo")
            parts.append(f"{shown(name)!r} ({photos}) may be {' or '.join(candidates)}")
        return f"{shown(self.title)}: nothing was added: {'; '.join(parts)}; {self._remedy()}"

    def _doubt(self, name: str) -> str:
        """How many photos an unknown name has, and what it may mean."""
        meant = f"; did you mean {self.near[name]}?" if name in self.near else ""
        return counted(self.unknown_names[name], "photo") + meant

    def _remedy(self) -> str:
        remedy = "rename them by scientific name"
        if not self.unknown_names or self.skip_unknown:
            return remedy
        if self.accept_new:
            return f"{remedy}, or confirm each one that really is another plant with --new NAME"
        return f"{remedy}, or pass --skip-unknown, or --accept-new to make them species of your own"

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
            meant = f"; did you mean {self.near[name]}?" if name in self.near else ""
            lines.append(f"  not in the key: {shown(name)} ({counted(count, 'photo')}{skipped}){meant}")
        for name, candidates in self.ambiguous.items():
            photos = counted(self.ambiguous_photos[name], "photo")
            lines.append(f"  several plants are called {shown(name)} ({photos}): {', '.join(candidates)}")
        lines += [f"  refused: {refusal.file}: {refusal.why}" for refusal in self.refused]
        if self.refused_more:
            lines.append(f"  refused: {self.refused_more} more")
        return "\n".join(lines)


def _few(names: Mapping[str, str], most: int = 8) -> str:
    listed = ", ".join(f"{shown(name, 60)!r} ({what})" for name, what in list(names.items())[:most])
    return listed + (f" and {len(names) - most} more" if len(names) > most else "")
