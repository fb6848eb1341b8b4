"""Letters that the fonts of the papers lack, in a font of this machine that has them."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont

MOST = 3000  # files that are looked at
NOT_TO_EMBED = 0x0002  # of the rights that a font states: it may not go into a document
ENDINGS = (".ttf", ".ttc", ".otf")


def font_folders() -> list[Path]:
    """Where this system and this user keep fonts."""
    if sys.platform == "win32":
        windows, own = os.environ.get("WINDIR", r"C:\Windows"), os.environ.get("LOCALAPPDATA", "")
        return [Path(windows) / "Fonts", *([Path(own) / "Microsoft" / "Windows" / "Fonts"] if own else [])]
    if sys.platform == "darwin":
        return [Path("/System/Library/Fonts"), Path("/Library/Fonts"), Path.home() / "Library" / "Fonts"]
    own = Path.home() / ".local" / "share" / "fonts"
    return [Path("/usr/share/fonts"), Path("/usr/local/share/fonts"), own, Path.home() / ".fonts"]


@lru_cache(maxsize=4096)
def font_with(letter: str) -> str | None:
    """The name under which a font with the letter is known to papers; None where no font here has it."""
    for file in _files():
        if ord(letter) in _letters(file) and (name := _known(file)):
            return name
    return None


@lru_cache(maxsize=1)
def _files() -> tuple[Path, ...]:
    """The files of fonts, always in the same order."""
    return tuple(sorted(_listed())[:MOST])


def _listed() -> Iterator[Path]:
    for folder in font_folders():
        for place, _, names in os.walk(folder):
            yield from (Path(place, name) for name in names if name.lower().endswith(ENDINGS))


@lru_cache(maxsize=MOST)
def _letters(file: Path) -> frozenset[int]:
    """The letters of a font that may be embedded; none of a file that cannot be read."""
    from fontTools.ttLib import TTFont as Opened  # only here: most papers need no other font

    try:
        with Opened(file, fontNumber=0, lazy=True) as font:
            may = "OS/2" not in font or not font["OS/2"].fsType & NOT_TO_EMBED
            return frozenset(font.getBestCmap() or ()) if may and "glyf" in font else frozenset()
    except Exception:  # whatever is wrong with a font of the machine, the paper is made without it
        return frozenset()


@lru_cache(maxsize=MOST)
def _known(file: Path) -> str:
    """Make a font known; "" where it cannot be used."""
    name = f"machine-{file.name}"
    try:
        pdfmetrics.registerFont(TTFont(name, str(file), subfontIndex=0))
    except (TTFError, OSError, ValueError, KeyError):
        return ""
    pdfmetrics.registerFontFamily(name, normal=name, bold=name, italic=name, boldItalic=name)
    return name
