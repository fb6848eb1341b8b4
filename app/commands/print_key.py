"""The command `key`: a key for paper, or for who would rather read it in the terminal."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from app.commands.json_output import print_json

if TYPE_CHECKING:
    from model.flora import Flora
    from model.printed_key import Couplet, PrintedKey


def key(
    month: Annotated[int | None, typer.Option(min=1, max=12, help="Only plants that are to be seen in it.")] = None,
    pdf: Annotated[Path | None, typer.Option(metavar="FILE", help="Write it to a PDF for printing.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")] = False,
) -> None:
    """Make a key for printing: numbered couplets, of whose two leads one fits, down to a name."""
    from app.services.knowledge import load_key
    from model.printed_key import make_key

    if pdf is not None:
        from app.papers.paper_file import check_place

        check_place(pdf, "--pdf", (".pdf",))
    known = load_key()
    printed = make_key(known.likelihoods, month)
    if pdf is not None:
        from app.papers.key_sheet import key_paper
        from app.papers.paper_file import write_paper

        write_paper(pdf, "--pdf", (".pdf",), lambda: key_paper(printed, known.flora))
    if as_json:
        print_json({**printed.as_json(), **({"file": str(pdf)} if pdf is not None else {})})
    elif pdf is not None:
        typer.echo(f"{pdf}: {printed.figures['couplets']} couplets to {printed.figures['species']} plants")
    else:
        print_key(printed, known.flora)


def print_key(printed: PrintedKey, flora: Flora) -> None:
    """Print a key in the terminal."""
    from rich.console import Console

    from app.papers.key_words import about, how_to_read, left_out

    console = Console(highlight=False)
    console.print(f"Key to lawn and garden weeds: {about(printed)}", style="bold")
    for line in how_to_read(printed):
        console.print(line, markup=False)
    for couplet in printed.couplets:
        _print_couplet(couplet, printed, flora, console)
    for title, names in left_out(printed, flora):
        console.print(f"\n{title}", style="bold")
        console.print("; ".join(names), markup=False)


def _print_couplet(couplet: Couplet, printed: PrintedKey, flora: Flora, console) -> None:  # type: ignore[no-untyped-def]
    from rich.padding import Padding
    from rich.text import Text

    from app.papers.key_words import end_words, number_of

    mostly = " (mostly)" if couplet.mostly else ""
    console.print(Text(f"\n{number_of(couplet)}  {couplet.character.question}{mostly}", style="bold"))
    for letter, lead in zip("ab", couplet.leads, strict=True):
        goes = f"go to {lead.couplet}" if lead.couplet is not None else end_words(lead, printed, flora)
        line = Text(f"{letter}  {lead.text}: ").append(goes, style="bold")
        console.print(Padding(line, (0, 0, 0, 4)))
