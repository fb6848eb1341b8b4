"""The commands `label`: record, list and revoke that a label was read which names this lawn grass."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from app.commands.json_output import Json, answer
from app.commands.options import LAWN, Day, option
from app.commands.plain_help import Commands
from app.services.knowledge import load_advice
from app.services.labels import labels_read, note_label, revoke_label, split_actives
from model.errors import AnswerError

if TYPE_CHECKING:
    from model.control import LabelRead

label = Commands(help="Record that you have read a label that names this lawn, where nothing is published about it.")

Actives = Annotated[str, typer.Argument(metavar="ACTIVES", help='Its active ingredients, such as "MCPA + dicamba".')]
Lawn = Annotated[str, LAWN]


@label.command("read")
def read(
    actives: Actives,
    lawn: Lawn,
    number: Annotated[str, option("NUMBER", "The product's registration number, off the label.")],
    by: Annotated[str, option("NAME", "Who read it.")],
    on: Day = None,
    as_json: Json = False,
) -> None:
    """Record that a label was read and names this lawn; the plan then relies on it, and says so.

    Examples:
        swardkey label read "MCPA + dicamba" --lawn kikuyu --number 12345 --by Kim
    """
    new = note_label(load_advice(), split_actives(actives), lawn, number, by, on or date.today())
    answer(as_json, {"label": new.as_json()}, f"Saved: {line(new)}.")


@label.command("list")
def listed(as_json: Json = False) -> None:
    """List the labels that are recorded."""
    found = labels_read()
    text = "\n".join(map(line, found)) or "No label is recorded yet."
    answer(as_json, {"labels": [one.as_json() for one in found]}, text)


@label.command("revoke")
def revoke(actives: Actives, lawn: Lawn, as_json: Json = False) -> None:
    """Revoke a label that was recorded."""
    gone = revoke_label(load_advice(), split_actives(actives), lawn)
    if not gone:
        raise AnswerError(f"no label of {actives} on {lawn} is recorded; see swardkey label list")
    answer(as_json, {"revoked": gone}, "Revoked.")


def line(one: LabelRead) -> str:
    """A label in one line."""
    return f"{' + '.join(one.actives)} on {one.lawn.replace('_', ' ')}: {one}"
