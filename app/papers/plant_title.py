"""The title of a paper on plants: one name, several that grow together, or a question where it may be any of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from app.papers.pdf import italic, safe
from app.papers.sheet import Sheet
from app.present.block import Section, capital
from app.present.naming import Naming
from model.control import Plan
from model.flora import Flora
from model.text import listed


def plants_of(plan: Plan, namings: Sequence[Naming]) -> tuple[str, ...]:
    """The plants that a paper is about: all that were named, or all that the one that was named may still be."""
    if len(namings) > 1:
        return tuple(naming.species for naming in namings)
    return plan.case.species if len(plan.case.species) > 1 else (namings[0].species,)


def names_in_words(plan: Plan, namings: Sequence[Naming], flora: Flora) -> str:
    """Their common names: "Bindii", "Bindii and winter grass", or "Smooth catsear, catsear or dandelion?"."""
    plants, together = plants_of(plan, namings), _grow_together(plan, namings)
    names = listed([flora.species[one].common_name for one in plants], together)
    return capital(names) + ("?" if len(plants) > 1 and not together else "")


def write_title(sheet: Sheet, plan: Plan, namings: Sequence[Naming], flora: Flora, case: str = "") -> None:
    """The names large, below them the scientific names and the ``case``."""
    found = [italic(flora.species[one].scientific_name) for one in plants_of(plan, namings)]
    scientific = listed(found, _grow_together(plan, namings))
    sheet.title(safe(names_in_words(plan, namings, flora)), scientific + (f"  \u00b7  {safe(case)}" if case else ""))


def by_plant(namings: Sequence[Naming], sections: Sequence[Section], flora: Flora) -> list[Section]:
    """What is said of each plant under its name, where there are several."""
    if len(namings) < 2:
        return list(sections)
    names = (capital(flora.species[naming.species].common_name) for naming in namings)
    return [replace(section, heading=name) for name, section in zip(names, sections, strict=True)]


def _grow_together(plan: Plan, namings: Sequence[Naming]) -> bool:
    return len(namings) > 1 or plan.case.together
