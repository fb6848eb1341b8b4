"""The command `collect check`: what is wrong with the labelled photos, and what to take next."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from app.commands.json_output import Json, answer
from app.commands.options import CollectionFolder, option
from app.commands.terminal import on_interrupt, progress_of_stages
from app.papers.paper_file import check_place
from app.services.collection import (
    accept_suggestions,
    apply_decisions,
    checked,
    label_in_words,
    open_all,
    photos_to_check,
    plants_of,
    write_questions,
)
from model.errors import CollectionError

if TYPE_CHECKING:
    from training.audit import Report
    from training.audit.labels import Suspect

CHECK_STOPPED = (
    "no photo was changed, and the photos looked at so far need not be looked at again; run the same command to go on"
)
APPLY_STOPPED = "what was decided on and done so far is kept; run the same command again for the others"


def check(
    folder: CollectionFolder = None,
    photos: Annotated[Path | None, option("FOLDER", "Check this folder of labelled photos instead.")] = None,
    unlabelled: Annotated[Path | None, option("FOLDER", "Say which of these photos to label next.")] = None,
    wanted: Annotated[list[str] | None, option("SPECIES", "A species to learn, with or without photos.")] = None,
    sheet: Annotated[Path | None, option("OUT.html", "Write a contact sheet to decide on; .png for pages.")] = None,
    decisions: Annotated[
        Path | None, option("FILE.csv", "Write decisions to fill in; with --apply, carry them out.")
    ] = None,
    apply: Annotated[bool, typer.Option("--apply", help="Carry out the file of decisions.")] = False,
    accept: Annotated[
        float | None,
        option("SCORE", "Relabel all photos whose suggested name has at least this probability.", min=0.5, max=1.0),
    ] = None,
    by: Annotated[str, option("NAME", "Who decides; default your name here.")] = "",
    as_json: Json = False,
) -> None:
    """Find copies, doubtful names, spoilt photos and species with too few. Only --apply and --accept change any."""
    if sheet is not None:
        check_place(sheet, "--sheet", (".html", ".htm", ".png"))
    if apply and decisions is None:
        raise CollectionError("--apply needs a file of decisions; name it with --decisions")
    if apply and photos is not None:
        raise CollectionError("--apply changes the collection only; leave out --photos")
    if accept is not None and (photos is not None or apply):
        raise CollectionError("--accept changes the collection by its own check; leave out --photos and --apply")
    collection, names, flora = open_all(folder)
    plants = plants_of(collection, flora)
    if decisions is not None and apply:
        with on_interrupt(APPLY_STOPPED):
            done = apply_decisions(collection, decisions, sorted(plants), by)
        text = f"{done['relabel']} relabelled, {done['drop']} dropped, {done['keep']} kept as they are"
        answer(as_json, done, text)
        return
    with on_interrupt(CHECK_STOPPED), progress_of_stages(quiet=as_json) as progress:
        rows = photos_to_check(collection, photos, names, plants, wanted or ())
        # Photos in a folder may be those that the starter has learned from, and would be judged by themselves.
        report = checked(rows, photos is None, wanted or (), unlabelled, progress)
        own = {} if photos is not None else collection.own_names()
        report = replace(report, files=own)
        written = write_questions(report, rows, plants, sheet, decisions)
    called_so = partial(label_in_words, plants)
    lines = [report.text(called_so), *(["", *written] if written else [])]
    found = {**report.as_json(), "written": written, "own_names": {row.name: own.get(row.name, "") for row in rows}}
    if accept is not None:
        with on_interrupt(APPLY_STOPPED):
            sure, left = accept_suggestions(collection, report, accept, sorted(plants), by)
        found |= {"relabelled": [asdict(one) for one in sure], "left": left}
        lines += ["", *(accepted(one, report, called_so) for one in sure)]
        lines.append(f"{len(sure)} relabelled, {left} left to decide on")
    answer(as_json, found, "\n".join(lines))


def accepted(one: Suspect, report: Report, words: Callable[[str], str]) -> str:
    """A line on a photo that was relabelled."""
    return f"{report.title(one.photo)}: {words(one.given)} is {words(one.likelier)} now ({one.chance:.0%})"
