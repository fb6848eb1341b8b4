"""The command `collect check`: what is wrong with the labelled photos, and what to take next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from app.commands.json_output import print_json
from app.services.collection import carry_out, checked, labeller, open_all
from model.errors import CollectionError, nearest

if TYPE_CHECKING:
    from training.audit import Report
    from training.audit.sheet import Words
    from training.collection import Collection
    from training.data.manifest import LabelledPhoto

ENDINGS = (".html", ".htm", ".png")
Folder = Annotated[Path | None, typer.Option("--collection", metavar="DIR", help="The collection; else your own.")]
Photos = Annotated[
    Path | None, typer.Option("--photos", metavar="FOLDER", help="Check this folder of labelled photos instead.")
]
Unlabelled = Annotated[
    Path | None, typer.Option("--unlabelled", metavar="FOLDER", help="Say which of these photos to label next.")
]
Wanted = Annotated[
    list[str] | None, typer.Option("--wanted", metavar="SPECIES", help="A species to be learned, with photos or not.")
]
Sheet = Annotated[
    Path | None, typer.Option("--sheet", metavar="OUT.html", help="Write a contact sheet to decide on; .png for pages.")
]
Decisions = Annotated[
    Path | None,
    typer.Option("--decisions", metavar="FILE.csv", help="Write them to decide on; with --apply, do what it says."),
]
Apply = Annotated[bool, typer.Option("--apply", help="Do what the file of decisions says.")]
By = Annotated[str, typer.Option("--by", metavar="NAME", help="Who decides; otherwise your name on this machine.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]


def check(
    folder: Folder = None,
    photos: Photos = None,
    unlabelled: Unlabelled = None,
    wanted: Wanted = None,
    sheet: Sheet = None,
    decisions: Decisions = None,
    apply: Apply = False,
    by: By = "",
    as_json: Json = False,
) -> None:
    """Find copies, doubtful names, spoilt photos and species with too few. Nothing is changed without --apply."""

    if sheet is not None and sheet.suffix.lower() not in ENDINGS:
        raise CollectionError(f"--sheet {sheet}: ends in {sheet.suffix or 'nothing'}; let it end in .html or .png")
    if apply and decisions is None:
        raise CollectionError("--apply needs a file of decisions; name it with --decisions")
    if apply and photos is not None:
        raise CollectionError("--apply changes the collection only; leave out --photos")
    collection, names, flora = open_all(folder)
    plants: dict[str, Any] = {**collection.own_species(), **flora.species}
    if decisions is not None and apply:
        _decide(collection, decisions, sorted(plants), labeller(by), as_json)
        return
    called = _Called(plants)
    for name in wanted or ():
        if name not in plants:
            raise CollectionError(
                f"--wanted {name}: is neither in the flora nor one of your own species; {nearest(name, plants)}"
            )
    rows = _labelled(collection, photos, names, called.known())
    # Photos in a folder may be those that the starter has learned from, and would be judged by themselves.
    report = checked(rows, photos is None, wanted or (), unlabelled, as_json)
    told = _write(report, rows, called.words([*plants, *report.labels.values()]), sheet, decisions)
    if as_json:
        print_json({**report.as_json(), "written": told})
    else:
        print("\n\n".join([report.text(called), *(["\n".join(told)] if told else [])]))


class _Called:
    """The common name of a label, with its id: people know the one, files hold the other."""

    def __init__(self, plants: Mapping[str, Any]) -> None:
        self.plants = plants

    def __call__(self, label: str) -> str:
        if label not in self.plants:
            return label.replace("other:", "outside the flora: ").replace("_", " ")
        common = str(self.plants[label].common_name)
        return f"{common} ({label})" if common != label else label

    def known(self) -> dict[str, str]:
        return {name: str(plant.common_name) for name, plant in self.plants.items()}

    def words(self, species: Sequence[str]) -> Words:
        from training.audit.sheet import Words

        return Words(self, sorted({*species}))


def _labelled(collection: Collection, folder: Path | None, names: Any, known: Mapping[str, str]) -> list[LabelledPhoto]:
    if folder is not None:
        from training.data.labelled import read_labelled

        return read_labelled(folder, names, known)
    photos = collection.photos()
    if not photos:
        raise CollectionError(f"{collection.folder}: holds no photos; add some with swardkey collect add FOLDER")
    return photos


def _write(
    report: Report, photos: Sequence[LabelledPhoto], words: Words, sheet: Path | None, decisions: Path | None
) -> list[str]:
    """Write what was asked for; a sentence on each file."""
    from training.audit import write_decisions
    from training.audit.decisions import decided
    from training.audit.pages import write_pages
    from training.audit.sheet import write_sheet

    questions, told = report.questions(), []
    where = {photo.name: photo.file for photo in photos}
    if decisions is not None:
        kept = write_decisions(decisions, questions)
        told.append(f"{decisions}: {len(questions)} photos to decide on, {kept} decided before")
    if sheet is not None and sheet.suffix.lower() == ".png":
        pages = write_pages(sheet, questions, where, words)
        told.append(
            f"{sheet}: {len(pages)} pages, {pages[0].name} to {pages[-1].name}" if pages else "no page is needed"
        )
    elif sheet is not None:
        made = decided(decisions) if decisions is not None else {}
        write_sheet(sheet, questions, where, words, {photo: row["decision"] for photo, row in made.items()})
        told.append(f"{sheet}: the sheet; open it in a browser, decide, and save the decisions")
    return told


def _decide(collection: Collection, path: Path, species: Sequence[str], by: str, as_json: bool) -> None:
    """Carry out a file of decisions. All of it is understood before anything is changed."""
    from training.audit import read_decisions

    labels = {photo.name: photo.label for photo in collection.photos()}
    made = read_decisions(path, {*species, *labels.values()}, labels)
    done: dict[str, int] = {"keep": 0, "relabel": 0, "drop": 0}
    for decision in made:
        carry_out(collection, decision, by)
        done[decision.action] += 1
    if as_json:
        print_json(done)
    else:
        print(f"{done['relabel']} relabelled, {done['drop']} dropped, {done['keep']} kept as they are")
