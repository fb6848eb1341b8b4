"""The option --json: one object on standard output and nothing else there."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Mapping
from typing import Annotated, Any

import typer

from app.commands.terminal import say

Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]


def print_json(data: Mapping[str, Any]) -> None:
    """Print one JSON object on a line of its own."""
    sys.stdout.write(json.dumps(data, ensure_ascii=False, allow_nan=False) + "\n")


def answer(as_json: bool, data: Mapping[str, Any], text: str | Callable[[], None]) -> None:
    """Print the data with --json; else the text, wrapped as ``say`` does, or what a function prints for a person."""
    if as_json:
        print_json(data)
    elif isinstance(text, str):
        say(*text.split("\n"))
    else:
        text()
