"""The page that goes with a request: one HTML file that works without a network, to be tapped by whoever has the plant.

It shows each question with its drawings and makes the short text that app/services/reply.py reads. It knows nothing of
the person, and names no plant that might prompt an answer.
"""

from __future__ import annotations

import calendar
from datetime import date
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from app.figures.line_drawings import line_drawing
from app.present.finding import day_text
from app.services.reply import DIGITS, SIGN, VERSION
from app.services.requesting import Request
from model.flora.character import VISIBLE, Character, Part

TITLE = "A few questions about the plant"
MOST_BYTES = 300_000
PARTS: dict[Part, str] = {
    "leaves": "Leaves",
    "flowers": "Flowers, or the head of a grass",
    "seeds": "Ripe seed, burrs or fruit",
    "roots": "Roots, dug up",
}


def reply_sheet(request: Request) -> bytes:
    """The page of a request as UTF-8, under MOST_BYTES."""
    templates = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    page = templates.get_template("reply_sheet.html").render(
        title=TITLE,
        parts=[{"id": part, "words": PARTS[part], "drawing": line_drawing(VISIBLE, part)} for part in request.parts],
        questions=[{**_question(one), "if_there": request.if_there(one)} for one in request.questions],
        photos=request.photos,
        months=calendar.month_name[1:],
        digits=DIGITS,
        sign_length=SIGN,
        version=VERSION,
        day=day_text(date.today()),
    )
    return page.encode()


def _question(character: Character) -> dict[str, Any]:
    """A question as the page shows it; its states by groups where it has such."""
    groups = [(group.text, group.states) for group in character.groups.values()] or [("", list(character.states))]
    return {
        "character": character,
        "name": _in_reply(character.id),
        "ruler": line_drawing(character.id),
        "groups": [(text, [_state(character, state) for state in states]) for text, states in groups],
    }


def _state(character: Character, state: str) -> dict[str, Any]:
    words, drawing = character.states[state], line_drawing(character.id, state)
    return {"name": _in_reply(state), "words": words, "drawing": drawing}


def _in_reply(name: str) -> str:
    """An id as it stands in the text that is sent back: messengers take underscores for signs of italics."""
    return name.replace("_", "-")
