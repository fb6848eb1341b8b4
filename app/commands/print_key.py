"""The command `key`: a dichotomous key for printing, or to read in the terminal."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from app.commands.json_output import Json, answer
from app.commands.options import AnyMonth, option
from app.papers.key_words import about, end_words, how_to_read, left_out, number_of
from app.papers.paper_file import check_place, write_paper
from app.services.knowledge import printed_key
from model.flora import Flora
from model.printed_key import PrintedKey


def key(
    month: AnyMonth = None,
    pdf: Annotated[Path | None, option("FILE", "Write it to a PDF for printing.")] = None,
    as_json: Json = False,
) -> None:
    """Make a key for printing: numbered couplets, of whose two leads one fits, down to a name.

    With --month, only of plants that are to be seen in it.
    """
    if pdf is not None:
        check_place(pdf, "--pdf", (".pdf",))
    printed, flora = printed_key(month)
    if pdf is None:
        answer(as_json, printed.as_json(), lambda: print_key(printed, flora))
        return
    from app.papers.key_sheet import key_paper  # only here: the terminal needs no PDF

    write_paper(pdf, "--pdf", (".pdf",), lambda: key_paper(printed, flora))
    text = f"{pdf}: {printed.figures['couplets']} couplets to {printed.figures['species']} plants"
    answer(as_json, {**printed.as_json(), "file": str(pdf)}, text)


def print_key(printed: PrintedKey, flora: Flora) -> None:
    """Print a key in the terminal."""
    console = Console(highlight=False)
    console.print(f"Key to lawn and garden weeds: {about(printed)}", style="bold")
    for line in how_to_read(printed):
        console.print(line, markup=False)
    for couplet in printed.couplets:
        mostly = " (mostly)" if couplet.mostly else ""
        console.print(Text(f"\n{number_of(couplet)}  {couplet.character.question}{mostly}", style="bold"))
        for letter, lead in zip("ab", couplet.leads, strict=True):
            goes = f"go to {lead.couplet}" if lead.couplet is not None else end_words(lead, printed, flora)
            text = Text(f"{letter}  {lead.text}: ").append(goes, style="bold")
            console.print(Padding(text, (0, 0, 0, 4)))
    for title, names in left_out(printed, flora):
        console.print(f"\n{title}", style="bold")
        console.print("; ".join(names), markup=False)
