"""The printed key as a whole: the species that it leads to, those left out, and how long it is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from statistics import mean
from typing import Any

from model.flora.character import Character
from model.flora.load import Flora
from model.printed_key.grow import grow, number
from model.printed_key.lead import Couplet, Lead
from model.traits.likelihood import Likelihoods


@dataclass(frozen=True)
class PrintedKey:
    """A dichotomous key in numbered couplets.

    ``month``: the month that it is for, 1-12, or None for all. ``species``: those that it leads to. ``out_of_season``:
    left out as not seen in the month; ``names_only``: left out as only their names are known.
    """

    month: int | None
    couplets: tuple[Couplet, ...]
    species: tuple[str, ...]
    out_of_season: tuple[str, ...]
    names_only: tuple[str, ...]

    @cached_property
    def ends(self) -> dict[str, list[int]]:
        """Species to the couplets at which it is named, in their order; several where it keys out more than once."""
        found: dict[str, list[int]] = {species: [] for species in self.species}
        for couplet in self.couplets:
            for lead in couplet.leads:
                for species in lead.species:
                    found[species].append(couplet.number)
        return found

    @property
    def characters(self) -> tuple[Character, ...]:
        """The characters that are asked for, each once, in the order of their first couplet."""
        return tuple({couplet.character.id: couplet.character for couplet in self.couplets}.values())

    def depth(self, couplet: int) -> int:
        """How many couplets are read up to and including one."""
        before = self.couplets[couplet - 1].before
        return 1 if before is None else 1 + self.depth(before)

    @cached_property
    def figures(self) -> dict[str, Any]:
        """How good the key is: its couplets, and couplets read to a species (mean over its ends, then over species)."""
        depths = {species: [self.depth(n) for n in ends] for species, ends in self.ends.items() if ends}
        alone = {lead.species[0] for lead in self._leads() if len(lead.species) == 1}
        return {
            "species": len(self.species),
            "couplets": len(self.couplets),
            "mean_depth": round(mean(mean(d) for d in depths.values()), 1) if depths else 0,
            "worst_depth": max((max(d) for d in depths.values()), default=0),
            "reached": len(depths),
            "reached_alone": len(alone),
            "in_part": sum(len(ends) > 1 for ends in self.ends.values()),
            "mostly": sum(couplet.mostly for couplet in self.couplets),
        }

    def _leads(self) -> Iterator[Lead]:
        return (lead for couplet in self.couplets for lead in couplet.leads)

    def as_json(self) -> dict[str, Any]:
        """For ``swardkey key --json``."""
        return {
            "month": self.month,
            "figures": self.figures,
            "out_of_season": list(self.out_of_season),
            "names_only": list(self.names_only),
            "couplets": [couplet.as_json() for couplet in self.couplets],
        }


def make_key(likelihoods: Likelihoods, month: int | None = None) -> PrintedKey:
    """The printed key of a flora, or of what can be seen of it in a month (1-12, southern hemisphere)."""
    flora: Flora = likelihoods.flora
    unknown = tuple(s for s, plant in flora.species.items() if not plant.characters)
    hidden = tuple(
        s
        for s, plant in flora.species.items()
        if month is not None and month not in plant.season.seen and s not in unknown
    )
    rows = tuple(row for row, s in enumerate(flora.ids) if s not in unknown and s not in hidden)
    couplets = number(flora, grow(likelihoods, rows, month))
    return PrintedKey(month, couplets, tuple(flora.ids[row] for row in rows), hidden, unknown)
