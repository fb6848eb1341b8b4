"""The command `collect check`: what is wrong with the labelled photos, and what to take next."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from app.home import home
from app.printed import print_json
from model.errors import CollectionError

if TYPE_CHECKING:
    from training.collection import Collection

Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]


def check(
    sheet: Annotated[
        Path | None, typer.Option(metavar="OUT.html", help="Write a contact sheet of the doubtful.")
    ] = None,
    decisions: Annotated[
        Path | None, typer.Option(metavar="FILE.csv", help="Write them to decide on; with --apply, do what it says.")
    ] = None,
    apply: Annotated[bool, typer.Option("--apply", help="Do what the file of decisions says.")] = False,
    by: Annotated[str, typer.Option("--by", metavar="NAME", help="Who decides.")] = "",
    folder: Annotated[Path | None, typer.Option("--collection", metavar="DIR", help="Another collection.")] = None,
    as_json: Json = False,
) -> None:
    """Find copies, doubtful names, spoilt photos and species with too few. Nothing is changed without --apply."""
    from app.collecting import bar, labeller, open_all
    from training.audit import check_photos, load_settings, read_decisions, write_decisions
    from training.audit.sheet import write_sheet
    from training.features import features_of

    collection, _, flora = open_all(folder)
    plants: dict[str, Any] = {**collection.own_species(), **flora.species}
    photos = collection.photos()
    labels = {photo.name: photo.label for photo in photos}
    if apply:
        if decisions is None:
            raise CollectionError("--apply wants a file of decisions; name it with --decisions")
        known = {*plants, *labels.values()}
        _apply(collection, read_decisions(decisions, known, labels), labeller(by), as_json)
        return
    if not photos:
        raise CollectionError(f"{collection.folder}: holds no photos; add some with swardkey collect add FOLDER")

    def called(label: str) -> str:
        return str(plants[label].common_name) if label in plants else label.removeprefix("other:")

    with bar("looking", len(photos), as_json) as progress:
        x, _ = features_of(photos, home() / "cache" / "features.safetensors", lambda done, of: progress(done))
    report = check_photos(photos, x, load_settings())
    questions = report.questions()
    if sheet is not None:
        write_sheet(sheet, questions, {photo.name: photo.file for photo in photos}, called)
    if decisions is not None:
        write_decisions(decisions, questions)
    if as_json:
        print_json(report.as_json())
    else:
        print(report.text(called))


def _apply(collection: Collection, made: list[Any], by: str, as_json: bool) -> None:
    done = {"keep": 0, "relabel": 0, "drop": 0}
    for decision in made:
        if decision.action == "relabel":
            collection.relabel(decision.photo, decision.species, by)
        elif decision.action == "drop":
            collection.remove(decision.photo, by)
        done[decision.action] += 1
    if as_json:
        print_json(done)
    else:
        print(f"{done['keep']} kept, {done['relabel']} relabelled, {done['drop']} dropped")
