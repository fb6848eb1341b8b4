"""The commands `records sign` and `records amend`, with the questions that are asked before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from app.commands.json_output import Json
from app.commands.options import option
from app.commands.read_records import Number
from app.commands.terminal import is_interactive
from app.present.show_records import show_signed
from app.records import RecordsError, VisitRecord, open_records
from app.records.doubts import Doubt, is_key, ready_answers
from app.records.yaml_fields import changed_by, read_fields

Kind = Annotated[Literal["visit", "treatment"], typer.Argument(metavar="KIND", help="visit or treatment.")]
By = Annotated[str, option("NAME", "Who signs.", "--by")]
Changes = Annotated[Path, typer.Argument(metavar="FILE", help="YAML file of the fields that change.")]
Answers = Annotated[
    list[str] | None,
    option(
        "KEY=TEXT",
        "Your answer to a question that is asked before it is signed, such as wind=TEXT; once for each, kept with the "
        "record. In a terminal you are asked those that are left.",
        "--answer",
    ),
]


def sign(kind: Kind, number: Number, by: By, say: Answers = None, as_json: Json = False) -> None:
    """Sign a visit or treatment: from then on it can only be amended."""
    with open_records() as book:
        asked = book.asked(number, by) if kind == "treatment" and not book.current(kind, number).is_signed else ()
        ready = ready_answers(book.treatment_row(number)) if asked else {}
        signed = book.sign(kind, number, by, answers_to(asked, say or [], ready, ask=not as_json))
    show_signed(signed, as_json)


def amend(
    kind: Kind,
    number: Number,
    file: Changes,
    by: By,
    because: Annotated[str, option("TEXT", "Why it is amended.")],
    say: Answers = None,
    as_json: Json = False,
) -> None:
    """Amend what is signed: a new signed version, beside the old one."""
    fields = read_fields(file)
    with open_records() as book:
        now = book.current(kind, number).record
        asked: tuple[Doubt, ...] = ()
        if isinstance(now, VisitRecord):
            changed: Any = replace(now, visit=changed_by(now.visit, fields, file))
        else:
            changed = changed_by(now, fields, file)
            asked = book.asked(number, changed=changed)
        ready = ready_answers(changed) if asked else {}
        signed = book.amend(kind, number, changed, by, because, answers_to(asked, say or [], ready, ask=not as_json))
    show_signed(signed, as_json)


def answers_to(asked: Sequence[Doubt], said: Sequence[str], ready: dict[str, str], ask: bool) -> dict[str, str]:
    """The answers of the option by their keys, and with ``ask`` in a terminal what a person says to the others.

    Raises RecordsError for an answer that does not say which question it is to.
    """
    left, found = [doubt for doubt in asked if not ready.get(doubt.key)], dict[str, str]()
    for one in said:
        key, equals, text = one.partition("=")
        if not (equals and is_key(key.strip())):
            if len(left) != 1 or len(said) != 1:
                raise RecordsError(f"--answer {one[:60]}: say to which question, such as --answer wind=TEXT")
            key, text = left[0].key, one
        if key.strip() in found:
            raise RecordsError(f"--answer {key.strip()}: is given twice; give each answer once")
        found[key.strip()] = text.strip()
    if ask and is_interactive():
        for doubt in left:
            if not found.get(doubt.key):
                found[doubt.key] = typer.prompt(doubt.text, prompt_suffix=" ").strip()
    return found
