"""Drawings that are files, to be changed by hand: configs/figures/<character>/<state>.svg, of a number ruler.svg.

They look as the computed ones do: a square of 1000, strokes of 9, 14 and 27 in the text's colour, one pale fill.
``<title>`` (or ``<desc>``) is the text alternative. A test in tests/training/test_line.py says what else must hold.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from model.errors import FloraError
from model.flora.load import CONFIGS

FIGURES = CONFIGS / "figures"
RULER = "ruler"  # the name of the file of a number or month
VISIBLE = "visible"  # the folder of the parts that a person may have before them; these belong to no character
_TOLD = ("{http://www.w3.org/2000/svg}title", "{http://www.w3.org/2000/svg}desc")


@cache
def drawings(folder: Path = FIGURES) -> Mapping[str, Mapping[str, Path]]:
    """The files that there are: character id (or ``visible``), then state id (or ``ruler``)."""
    found: dict[str, dict[str, Path]] = {}
    for path in sorted(folder.glob("*/*.svg")):
        found.setdefault(path.parent.name, {})[path.stem] = path
    return found


def path_of(character_id: str, name: str) -> Path:
    """Where the file of a drawing lies, or belongs."""
    return FIGURES / character_id / f"{name}.svg"


@cache
def stored(character_id: str, name: str) -> tuple[str, str] | None:
    """The drawing that lies in a file, as SVG, and its text alternative; None where there is no file.

    Raises FloraError for a file that is no SVG or has no text alternative.
    """
    path = drawings().get(character_id, {}).get(name)
    return None if path is None else read_drawing(path)


def read_drawing(path: Path) -> tuple[str, str]:
    """A drawing and its text alternative, from one file; what stands before ``<svg`` does not go into a page.

    Raises FloraError for a file that cannot be read, is no SVG or has no text alternative.
    """
    try:
        text = path.read_text(encoding="utf-8")
        drawing = ElementTree.fromstring(text)
    except (OSError, UnicodeDecodeError, ElementTree.ParseError) as error:
        raise FloraError(f"{path}: cannot be read as SVG ({error})") from None
    told = next((words for tag in _TOLD if (words := (drawing.findtext(tag) or "").strip())), "")
    if not told:
        raise FloraError(f"{path}: has no text alternative; add a <title> that says what it shows")
    start = re.search(r"<svg\b", text)
    if start is None:
        raise FloraError(f"{path}: has no <svg> element; write it without a prefix")
    return text[start.start() :].rstrip(), " ".join(told.split())
