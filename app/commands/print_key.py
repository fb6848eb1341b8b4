"""The command `key`: a key for paper, or for who would rather read it in the terminal."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from app.commands.json_output import print_json


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
        from app.present.key import print_key

        print_key(printed, known.flora)
