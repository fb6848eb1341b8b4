"""The line drawings beside the questions: one SVG file for every state of a choice, one for every number.

They are edited by hand: configs/figures/<character>/<state>.svg, ruler.svg there for a number or month, and
visible/<part>.svg for the parts of a plant. ``<title>`` (or ``<desc>``) is the text alternative.
tests/app/test_line_drawings.py checks the rest: that they are plain, and that no two states of a character look alike.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from model.errors import FloraError
from model.flora.load import CONFIGS

FIGURES = CONFIGS / "figures"
RULER = "ruler"  # the file of a number or month, which has no states
SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True)
class Drawing:
    """``svg`` is put into the page itself, not into an <img>, so that it takes the text's colour on dark ground too."""

    svg: str = ""
    words: str = ""


@cache
def line_drawing(character: str, name: str = RULER) -> Drawing:
    """The drawing of a state; without a state, of what a number measures or counts.

    It is empty where there is no sound file: a question without its picture can still be answered.
    """
    path = files().get((character, name))
    if path is None:
        return Drawing()
    try:
        return read_drawing(path)
    except FloraError:
        return Drawing()


@cache
def files(folder: Path = FIGURES) -> Mapping[tuple[str, str], Path]:
    """The files that there are, by character (or ``visible``) and state (or ``ruler``)."""
    return {(path.parent.name, path.stem): path for path in sorted(folder.glob("*/*.svg"))}


def read_drawing(path: Path) -> Drawing:
    """One file, checked; what stands before ``<svg`` is left out.

    Raises FloraError for a file that cannot be read, is not SVG or has no text alternative.
    """
    try:
        text = path.read_text(encoding="utf-8")
        root = ElementTree.fromstring(text)
    except (OSError, UnicodeDecodeError, ElementTree.ParseError) as error:
        raise FloraError(f"{path}: cannot be read as SVG ({error})") from None
    start = re.search(r"<svg\b", text)
    if start is None:
        raise FloraError(f"{path}: has no <svg> element; write it without a prefix")
    words = next((found for tag in ("title", "desc") if (found := (root.findtext(SVG + tag) or "").strip())), "")
    if not words:
        raise FloraError(f"{path}: has no text alternative; add a <title> that says what it shows")
    return Drawing(text[start.start() :].rstrip(), " ".join(words.split()))
