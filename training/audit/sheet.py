"""The contact sheet: one HTML file that holds its pictures, and on which decisions are made."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import Environment

from model.errors import CollectionError
from model.photo.thumbnail import jpeg_thumbnail
from model.storage import replace_file
from model.text import day_text
from training.audit.decisions import RELABEL, WRITTEN, question_line
from training.audit.report import Called, Question, Why

THUMBNAIL = (320, 320)  # px, at most: sharp on a screen with two dots to the px
JPEG_QUALITY = 75

SECTIONS: dict[Why, tuple[str, str]] = {
    "two labels": ("One picture, two names", "At most one of the names is right."),
    "label": (
        "Labels that may be wrong",
        "The most doubtful first. The score is the chance of the given name, judged by photos of other plants.",
    ),
    "copy": ("Copies", "Copies do no harm, but count as one picture."),
    "quality": ("Hard to use", "Blurred or dark photos may still be kept."),
}


@dataclass(frozen=True)
class Words:
    """How the sheet speaks: ``called`` turns a label into words; ``species`` are the labels to choose from."""

    called: Called
    species: Sequence[str]


def write_sheet(
    path: Path,
    questions: Sequence[Question],
    where: Mapping[str, Path],
    words: Words,
    made: Mapping[str, str] | None = None,
) -> None:
    """Write the sheet as one HTML file, in one move.

    ``where``: the file of each photo, by name. ``made``: decisions that were made before, by
    photo. Raises CollectionError where it cannot be written. The page loads nothing from
    anywhere and sends nothing; all names are escaped.
    """
    text = sheet_html(questions, where, words, path.with_suffix(".csv").name, made or {})
    try:
        replace_file(path, text.encode())
    except OSError as error:
        raise CollectionError(f"{path}: cannot be written ({error.strerror or error}); choose another place") from None


def sheet_html(
    questions: Sequence[Question],
    where: Mapping[str, Path],
    words: Words,
    csv_name: str,
    made: Mapping[str, str],
) -> str:
    """The whole page. ``csv_name`` is the name under which the browser saves the decisions."""
    here = files(__package__)
    sections = []
    for why, (title, lead) in SECTIONS.items():
        cards = [_card(q, where.get(q.photo), words, made.get(q.photo, "")) for q in questions if q.why == why]
        sections.append({"title": title, "lead": lead, "cards": cards})
    page = Environment(autoescape=True).from_string(here.joinpath("sheet.html").read_text(encoding="utf-8"))
    return page.render(
        style=here.joinpath("sheet.css").read_text(encoding="utf-8"),
        script=here.joinpath("sheet.js").read_text(encoding="utf-8"),
        head=",".join(WRITTEN),
        file=csv_name,
        count=len(questions),
        day=day_text(date.today()),
        sections=sections,
        species=[(name, words.called(name)) for name in words.species],
    )


def _card(question: Question, file: Path | None, words: Words, made: str) -> dict[str, Any]:
    """What the sheet shows of one photo. ``made``: the decision that was made before."""
    choices = {"": "undecided", "keep": f"keep: {words.called(question.given)}"}
    if question.likelier:
        choices[f"{RELABEL}{question.likelier}"] = f"relabel: {words.called(question.likelier)}"
    choices |= {"other": "relabel: another species", "drop": "drop: leave it out"}
    other = made.removeprefix(RELABEL) if made not in choices and made.startswith(RELABEL) else ""
    return {
        "photo": question.title,
        "line": question_line(question).rstrip("\n"),
        "picture": _picture(file),
        "given": words.called(question.given),
        "likelier": words.called(question.likelier) if question.likelier else "",
        "words": question.words + ("" if question.score is None else f" (score {question.score:.3f})"),
        "choices": choices,
        "chosen": "other" if other else made,
        "other": words.called(other) if other else "",
    }


def _picture(file: Path | None) -> str:
    """A small copy as the base64 of a JPEG; "" where it cannot be read."""
    data = file and jpeg_thumbnail(file, THUMBNAIL, JPEG_QUALITY)
    return base64.b64encode(data).decode("ascii") if data else ""
