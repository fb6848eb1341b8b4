"""The command `request`: a message and a page to tap for whoever has the plant."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

from app.commands.identify import AnswersFile, Photos, Region, Visible
from app.commands.json_output import Json, answer
from app.commands.options import AnyMonth, option
from app.papers.paper_file import check_place, write_paper
from app.papers.reply_sheet import reply_sheet
from app.present.requested import request_json, request_message
from app.services.interview import start_interview
from app.services.requesting import request_of

SHEET = Path("questions.html")


def request(
    photos: Photos = None,
    answers: AnswersFile = None,
    month: AnyMonth = None,
    region: Region = None,
    visible: Visible = None,
    out: Annotated[Path, option("FILE.html", "Where to write the page that goes with the message.")] = SHEET,
    as_json: Json = False,
) -> None:
    """Ask whoever has the plant: a message to send, and a page with drawings to tap; ask --reply takes the answer.

    Examples:
        swardkey request leaf.jpg --out questions.html
        swardkey ask leaf.jpg --reply reply.txt
    """
    check_place(out, "--out", (".html",))
    wanted = request_of(start_interview(photos or (), answers, visible, month, region))
    write_paper(out, "--out", (".html",), lambda: reply_sheet(wanted))
    # As it is, since it is copied into a message.
    answer(as_json, {**request_json(wanted), "file": str(out)}, lambda: print(f"{request_message(wanted)}\n"))
    if not as_json:
        sys.stderr.write(f"{out}: send it along; then swardkey ask --reply takes back the text that it gives\n")
