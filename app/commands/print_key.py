"""The command `key`: a dichotomous key for printing, or to read in the terminal."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

from app.commands.json_output import Json, answer
from app.commands.options import AnyMonth, option
from app.papers.paper_file import check_place, write_paper
from app.present.finding import day_text
from app.present.key import print_key
from app.services.knowledge import printed_key


def key(
    month: AnyMonth = None,
    pdf: Annotated[
        Path | None, option("FILE", "Write it to a PDF for printing; with --month, two to four pages.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Make a key for printing: numbered couplets that lead to a name.

    With --month, only of plants visible in it.
    """
    if pdf is not None:
        check_place(pdf, "--pdf", (".pdf",))
    printed, flora = printed_key(month)
    if pdf is None:
        answer(as_json, printed.as_json(), lambda: print_key(printed, flora))
        return
    from app.papers.key_sheet import key_paper  # only here: the terminal needs no PDF

    write_paper(pdf, "--pdf", (".pdf",), lambda: key_paper(printed, flora, day_text(date.today())))
    text = f"{pdf}: {printed.figures['couplets']} couplets to {printed.figures['species']} plants"
    answer(as_json, {**printed.as_json(), "file": str(pdf)}, text)
