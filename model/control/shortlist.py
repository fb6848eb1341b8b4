"""Advice for a shortlist: what applies to all of its plants, what to some, and how to tell them apart."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from model.control.knowledge import Control
from model.control.option import JudgedOption
from model.control.use import WORST, Reason, capital
from model.control.year import in_order
from model.flora.species import Standing
from model.text import listed

STANDINGS: tuple[Standing, ...] = ("published", "common practice", "from memory")


@dataclass(frozen=True)
class Distinction:
    """What distinguishes two candidates of a shortlist."""

    one: str
    other: str
    separate_by: tuple[str, ...]
    note: str


def shared_and_own(control: Control, plans: list[list[JudgedOption]]) -> tuple[list[JudgedOption], list[JudgedOption]]:
    """Options that all candidates share, merged; and those that only some have."""
    if len(plans) == 1:
        return plans[0], []
    by_key: dict[Any, list[JudgedOption]] = {}
    for options in plans:
        for option in options:
            by_key.setdefault(option.key, []).append(option)
    held_by = {key: {species for option in same for species in option.species} for key, same in by_key.items()}
    common = [_one(control, same) for key, same in by_key.items() if len(held_by[key]) == len(plans)]
    only = [_one(control, same) for key, same in by_key.items() if len(held_by[key]) < len(plans)]
    return common, only


def _one(control: Control, same: list[JudgedOption]) -> JudgedOption:
    """One option for several plants: as cautious as the most cautious, with everything that must be removed."""
    worst = max(same, key=lambda option: WORST[option.suited])
    weakest = max(same, key=lambda option: STANDINGS.index(option.standing))
    days = [option.look_again for option in same if option.look_again is not None]
    months = in_order(set.intersection(*(set(option.months) for option in same)))
    timing = max((option.timing for option in same), key=lambda timing: STANDINGS.index(timing.standing))
    shorts = {option.short for option in same}
    reasons = _merged(control, same, [option.reasons for option in same])
    return JudgedOption(
        species=_union(option.species for option in same),
        method=worst.method,
        title=worst.title,
        short=worst.short if len(shorts) == 1 else control.methods.methods[worst.method].short,
        do=_merged(control, same, [option.do for option in same]),
        actives=worst.actives,
        suited=worst.suited,
        reasons=tuple(sorted(reasons, key=lambda reason: -WORST[reason.suited])),
        timing=replace(timing, months=months),
        out=_union(option.out for option in same),
        leaves=_union(option.leaves for option in same),
        look_again=min(days) if days else None,
        use=replace(worst.use, blooming=any(option.use.blooming for option in same)),
        excepted=_union(option.excepted for option in same),
        usual=all(option.usual for option in same),
        sources=_union(option.sources for option in same),
        standing=weakest.standing,
    )


def _merged(control: Control, same: list[JudgedOption], found: list[tuple[Reason, ...]]) -> tuple[Reason, ...]:
    """Reasons for all of these plants as they are; those for some of them with the plants' names."""
    whose: dict[Reason, dict[str, None]] = {}
    for option, reasons in zip(same, found, strict=True):
        names = dict.fromkeys(control.flora.species[s].common_name for s in option.species)
        for reason in reasons:
            whose.setdefault(reason, {}).update(names)
    every = {name for names in whose.values() for name in names}
    shared = [reason for reason, names in whose.items() if len(names) == len(every)]
    for reason, names in whose.items():
        if len(names) < len(every):
            shared.append(replace(reason, text=f"{capital(listed([*names], together=True))}: {reason.text}"))
    return tuple(shared)


def _union(parts: Iterable[Iterable[Any]]) -> tuple[Any, ...]:
    return tuple(dict.fromkeys(item for part in parts for item in part))


def distinctions_of(control: Control, species: tuple[str, ...]) -> tuple[Distinction, ...]:
    found = []
    for i, one in enumerate(species):
        for other in species[i + 1 :]:
            entry = control.flora.look_alike(one, other)
            if entry is not None:
                found.append(Distinction(one, other, tuple(entry.separate_by), entry.note))
    return tuple(found)
