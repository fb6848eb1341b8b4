"""Letters that the fonts of the papers lack, in a font of this machine that has them."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont

MOST = 3000  # files that are looked at
NOT_TO_EMBED = 0x0002  # of the rights that a font states: it may not go into a document


@lru_cache(maxsize=4096)
def font_with(letter: str) -> str | None:
    """The name under which a font with the letter is known to papers; None where no font here has it."""
    for file in _files():
        if ord(letter) in _letters(file) and (name := _known(file)):
            return name
    return None


@lru_cache(maxsize=1)
def _files() -> tuple[Path, ...]:
    """The files of fonts of this system and this user, always in the same order."""
    from matplotlib.font_manager import findSystemFonts  # here and below: most papers need no other font

    return tuple(sorted(map(Path, findSystemFonts()))[:MOST])


@lru_cache(maxsize=MOST)
def _letters(file: Path) -> frozenset[int]:
    """The letters of a font that may be embedded; none of a file that cannot be read."""
    from fontTools.ttLib import TTFont as Opened

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
