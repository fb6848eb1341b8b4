"""The flora: browse it, filter by character and month, and a page for each species."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any

from app.figures.line_drawings import line_drawing
from app.figures.telling import FREQUENCIES, main_state
from app.present.plan import calendar
from app.web.comparison import pair_of
from app.web.context import Context
from app.web.draft_photos import photographed_species
from app.web.frame import Address, Fields, month_in, month_of, one, render
from app.web.state_choices import states
from model.control import year_of
from model.flora import Score, Species
from model.flora.name import plain
from model.flora.source import cite
from model.identify import would_show

ADDRESS = "/flora"
USUAL = FREQUENCIES[:3]


@dataclass(frozen=True)
class Wanted:
    """What the list is filtered by; empty or None where it is not."""

    text: str = ""
    month: int | None = None
    character: str = ""
    state: str = ""
    family: str = ""


def body(context: Context, address: Address) -> str:
    """The list, or the page of a species."""
    species = address.get("species", "")
    if species in context.key.flora.species:
        return render("species.html", context=context, **page_of(context, species))
    return render("flora.html", context=context, **list_of(context, wanted_of(context, address)))


def wanted_of(context: Context, address: Address) -> Wanted:
    """What an address asks for; what is not known is left out."""
    flora = context.key.flora
    character = address.get("character", "")
    states = flora.characters[character].states if character in flora.characters else {}
    return Wanted(
        text=address.get("q", "")[:80],
        month=month_in(address.get("month", "")),
        character=character if states else "",
        state=address["state"] if address.get("state", "") in states else "",
        family=address.get("family", ""),
    )


def list_of(context: Context, wanted: Wanted) -> dict[str, Any]:
    """What the list shows."""
    flora = context.key.flora
    character = flora.characters.get(wanted.character)
    families = Counter(plant.family for plant in flora.species.values())
    return {
        "wanted": wanted,
        "found": sorted(
            (p for p in flora.species.values() if fits(context, p, wanted)), key=lambda p: p.common_name.casefold()
        ),
        "count": len(flora.ids),
        "learned": photographed_species(),
        "families": sorted(families.items()),
        "characters": [(c.id, c.question) for c in flora.characters.values() if c.kind == "choice"],
        "states": states(character) if character is not None else [],
    }


def fits(context: Context, plant: Species, wanted: Wanted) -> bool:
    """Whether a plant is what the list is filtered by."""
    if wanted.text:
        names = " ".join([plant.scientific_name, *plant.synonyms, *plant.common_names])
        if plain(wanted.text) not in plain(names):
            return False
    if wanted.month is not None and wanted.month not in plant.season.seen:
        return False
    if wanted.family and plant.family != wanted.family:
        return False
    if not wanted.state:
        return True
    score = plant.characters.get(wanted.character)
    shows = isinstance(score, Score) and (score.states or {}).get(wanted.state) in USUAL
    return shows and context.key.flora.is_applicable(plant.id, wanted.character)


def page_of(context: Context, species: str) -> dict[str, Any]:
    """What the page of a species shows."""
    flora = context.key.flora
    plant = flora.species[species]
    treated = species in context.control.treatments
    pairs = [pair_of(context, species, other) for other in flora.look_alikes[species]]
    outside = [entry for entry in plant.look_alikes if entry.outside is not None]
    return {
        "plant": plant,
        "species": species,
        "treated": treated,
        "picture": context.picture(species),
        "photographed": species in photographed_species(),
        "year": calendar(year_of(context.control, species), context.control) if treated else None,
        "season": cite(flora.sources, plant.season),
        "traits": traits(context, plant),
        "pairs": [pair for pair in pairs if pair is not None],
        "outside": outside,
        "judgements": [(flora.characters[j.character].question, j.decision) for j in plant.judgements],
        "works": works(context, plant),
    }


def traits(context: Context, plant: Species) -> list[dict[str, Any]]:
    """What is known of a plant, character by character, with the keys of its sources."""
    flora, found = context.key.flora, []
    for name, score in plant.characters.items():
        if not isinstance(score, Score) or not flora.is_applicable(plant.id, name):
            continue
        main = main_state(score)
        found.append(
            {
                "question": flora.characters[name].question,
                "shows": would_show(flora, plant.id, name),
                "note": score.note or "",
                "svg": line_drawing(name, main).svg if main else "",
                "sources": ", ".join(score.source),
                "standing": score.standing,
            }
        )
    return found


def works(context: Context, plant: Species) -> list[tuple[str, str, str]]:
    """The sources of a species file: key, citation and address."""
    keys = [*plant.names_source, *plant.season.source, *plant.in_lawns_source]
    keys += [key for score in plant.characters.values() if isinstance(score, Score) for key in score.source]
    sources = context.key.flora.sources
    return [(key, sources[key].citation, sources[key].url or "") for key in sorted(set(keys)) if key in sources]


def act(context: Context, address: Address, do: str, fields: Fields, which: str) -> tuple[Address, list[str]]:
    """Filter the list."""
    if do != "filter":
        return {}, []
    month = month_of(fields)
    character = one(fields, "character")
    same = character == address.get("character", "")
    found = {
        "q": one(fields, "q"),
        "month": str(month or ""),
        "family": one(fields, "family"),
        "character": character,
        "state": one(fields, "state") if same else "",
    }
    return {name: value for name, value in found.items() if value}, []
