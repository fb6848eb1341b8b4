"""The commands `label`: keep, list and take back that a label was read which names this lawn grass."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from app.commands.json_output import print_json
from model.errors import AnswerError

if TYPE_CHECKING:
    from model.control import LabelRead

label = typer.Typer(
    no_args_is_help=True,
    help="Record that you have read a label that names this lawn, where nothing is published about it.",
)

Actives = Annotated[str, typer.Argument(metavar="ACTIVES", help='Its active ingredients, such as "MCPA + dicamba".')]
Lawn = Annotated[str, typer.Option(help="The lawn grass that the label names.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]


@label.command("read")
def read(
    actives: Actives,
    lawn: Lawn,
    number: Annotated[str, typer.Option(help="The product's registration number, off the label.")],
    by: Annotated[str, typer.Option(metavar="NAME", help="Who read it.")],
    on: Annotated[str | None, typer.Option(metavar="YYYY-MM-DD", help="When; today if not given.")] = None,
    as_json: Json = False,
) -> None:
    """Record that a label was read and names this lawn: the plan then goes by it, and says so."""
    from app.commands.advise import as_word
    from app.services.knowledge import load_advice
    from app.services.labels import note_label, split_actives

    new = note_label(load_advice(), split_actives(actives), as_word(lawn), number, by, _day(on))
    print_json({"label": new.as_json()}) if as_json else typer.echo(f"Kept: {_line(new)}.")


@label.command("list")
def listed(as_json: Json = False) -> None:
    """List the labels that are recorded."""
    from app.services.labels import labels_read

    found = labels_read()
    if as_json:
        print_json({"labels": [one.as_json() for one in found]})
    else:
        typer.echo("\n".join(_line(one) for one in found) or "No label is recorded yet.")


@label.command("revoke")
def revoke(actives: Actives, lawn: Lawn, as_json: Json = False) -> None:
    """Revoke a label that was recorded."""
    from app.commands.advise import as_word
    from app.services.knowledge import load_advice
    from app.services.labels import revoke_label, split_actives

    gone = revoke_label(load_advice(), split_actives(actives), as_word(lawn))
    if not gone:
        raise AnswerError(f"no label of {actives} on {lawn} is recorded; see swardkey label list")
    print_json({"revoked": gone}) if as_json else typer.echo("Taken back.")


def _line(one: LabelRead) -> str:
    return f"{' + '.join(one.actives)} on {one.lawn.replace('_', ' ')}: {one}"


def _day(text: str | None) -> date:
    try:
        return date.fromisoformat(text) if text else date.today()
    except ValueError:
        raise AnswerError(f"--on {text}: not a day; write it as 2026-06-09") from None
