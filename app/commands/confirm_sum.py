"""Settle the doubts about a sum with the person, then print it with its working."""

from __future__ import annotations

import json
import sys

import typer
from rich.console import Console
from rich.table import Table

from model.mix.doubt import Doubt, MixError
from model.mix.result import LABEL_FIRST, Result
from model.mix.unit import remarks


def finish(result: Result, typed: list[str | None], as_json: bool, sure: bool) -> None:
    """Settle the doubts, then print: one JSON object, or the figures and their working."""
    settle(result.doubts, as_json, sure)
    notes = [doubt.text for doubt in (*result.doubts, *remarks(*typed))]
    if as_json:
        sys.stdout.write(json.dumps(result.as_json() | {"doubts": notes}, ensure_ascii=False, allow_nan=False) + "\n")
        return
    console = Console(highlight=False)
    table = Table(box=None, show_header=False, pad_edge=False)
    for what, amount in result.rows:
        table.add_row(what, f"[bold]{amount}[/bold]")
    console.print(table)
    for line in result.working:
        console.print(f"  {line}", style="dim", markup=False)
    for note in notes:
        console.print(f"Note: {note}.", markup=False)
    console.print(LABEL_FIRST, markup=False)


def settle(doubts: tuple[Doubt, ...], as_json: bool, sure: bool) -> None:
    """Ask about what looks like a slip. Raises MixError where there is no one to ask, or the answer is no."""
    asked = [doubt.text for doubt in doubts if doubt.asks]
    if sure or not asked:
        return
    if as_json or not someone_is_there():
        raise MixError(f"{'; and '.join(asked)}; if that is right, add --sure")
    for text in asked:
        if not typer.confirm(f"{text[0].upper()}{text[1:]}. Is it right?", err=True):
            raise MixError("nothing was computed; give the numbers again")


def someone_is_there() -> bool:
    """Whether a person sits at a terminal who can be asked."""
    return sys.stdin is not None and sys.stdin.isatty()
