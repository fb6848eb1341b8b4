"""Open photos of weeds from GBIF: what would be fetched, the fetching, and whom to credit.

Libraries are imported within functions: all commands of the collection start with this module.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from app.services.collection import labeller, open_all
from model.errors import CollectionError

if TYPE_CHECKING:
    from training.collection import Collection, Intake
    from training.collection.credits import Credit
    from training.collection.gbif_source import OpenPlan

# As people type a licence, and as it is kept with a photo.
LICENCES = {"cc0": "CC0", "by": "CC BY", "by-sa": "CC BY-SA", "public domain": "public domain"}


def species_wanted(names: Sequence[str], every: bool, kind: str, folder: Path | None) -> dict[str, str]:
    """Ids to scientific names of the species to look for: by name, all of the flora, or all of one kind of weed.

    Raises AnswerError for a name that is not a plant's, CollectionError where not exactly one of the three was given.
    """
    from app.services.knowledge import load_advice
    from model.flora.name import PlantNames

    if (bool(names), every, bool(kind)).count(True) != 1:
        raise CollectionError("which species? name some, or give --all, or --kind with a kind of weed")
    control = load_advice()
    flora = control.flora
    if kind:
        kinds = sorted({treatment.kind for treatment in control.treatments.values()})
        if kind not in kinds:
            raise CollectionError(f"--kind {kind}: there is no such kind of weed; choose from {', '.join(kinds)}")
        chosen = [species for species, treatment in control.treatments.items() if treatment.kind == kind]
    elif every:
        chosen = list(flora.ids)
    else:
        chosen = list(PlantNames(flora).the_plants_in(names))
    return {species: flora.species[species].scientific_name for species in chosen}


def kinds_of_licence(text: str) -> tuple[str, ...]:
    """The licences that are taken, from a list with commas. Raises CollectionError for one that is not open."""
    asked = [part.strip().casefold() for part in text.split(",") if part.strip()]
    wrong = [part for part in asked if part not in LICENCES]
    if wrong or not asked:
        raise CollectionError(f"--licence {text}: is not among the open licences; give {', '.join(LICENCES)}")
    return tuple(dict.fromkeys(LICENCES[part] for part in asked))


def countries_of(text: str) -> tuple[str, ...]:
    """Countries from a list of two-letter codes with commas. Raises CollectionError."""
    codes = [part.strip().upper() for part in text.split(",") if part.strip()]
    if any(len(code) != 2 or not code.isalpha() for code in codes):
        raise CollectionError(f"--country {text}: give two letters for each country, such as AU,NZ")
    return tuple(dict.fromkeys(codes))


def plan_open_photos(
    names: dict[str, str], each: int, kinds: Sequence[str], countries: Sequence[str], progress: Callable[[int], None]
) -> OpenPlan:
    """What would be fetched of which species. Raises CollectionError where the archive cannot be reached."""
    from training.collection.gbif_source import plan_open
    from training.collection.open_rules import load_open_rules

    order = {species: number for number, species in enumerate(names)}
    return plan_open(names, each, kinds, countries, load_open_rules(), lambda species: progress(order[species]))


def plan_open_addition(
    plan: OpenPlan, by: str, folder: Path | None, allow_host: Sequence[str]
) -> tuple[Collection, Intake]:
    """The collection, and what fetching the photos of a plan would add to it; nothing is fetched yet."""
    from training.collection import plan_intake
    from training.collection.fetch import Fetcher
    from training.collection.gbif_source import OpenPhotos

    collection, names, _ = open_all(folder)
    return collection, plan_intake(OpenPhotos(plan, Fetcher(allow_host)), names, collection, labeller(by))


def write_credits(file: Path, credited: Sequence[Credit]) -> None:
    """Write credits as CSV or Markdown, by the file's ending. Raises AnswerError where that cannot be written."""
    from app.papers.csv_table import as_csv
    from app.papers.paper_file import write_paper
    from training.collection.credits import COLUMNS, as_markdown

    def made() -> bytes:
        if file.suffix.lower() == ".md":
            return as_markdown(credited).encode()
        return as_csv([COLUMNS, *(one.cells for one in credited)])

    write_paper(file, "--out", (".csv", ".md"), made)


def credits_due(folder: Path | None) -> tuple[Credit, ...]:
    """Whom to credit for the photos of a collection. Raises CollectionError where none came with a licence."""
    from training.collection.credits import credits_for

    found = credits_for(open_all(folder)[0].photos())
    if not found:
        raise CollectionError("no photo of the collection came with a licence, so nobody has to be credited")
    return found
