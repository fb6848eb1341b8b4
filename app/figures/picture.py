"""A figure as a file: SVG with its content in words, or PNG; whole or not at all."""

from __future__ import annotations

import io
from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.papers.paper_file import check_place, write_paper

if TYPE_CHECKING:
    from matplotlib.figure import Figure

ENDINGS = (".svg", ".png")
INK, FAINT = "#20301f", "#8a9488"
STYLE: dict[Any, Any] = {
    "svg.fonttype": "none",  # text stays text
    "svg.hashsalt": "swardkey",  # the same figure, the same file
    "hatch.linewidth": 0.9,
    "font.size": 11,
    "text.color": INK,
    "axes.edgecolor": FAINT,
    "axes.labelcolor": INK,
    "xtick.color": INK,
    "ytick.color": INK,
}
DOTS_PER_INCH = 240


def check_ending(file: Path) -> None:
    """Raise AnswerError where a figure cannot be written under this name; asked before anything is worked out."""
    check_place(file, "--figure", ENDINGS)


def save_figure(draw: Callable[[], Figure], file: Path, title: str, words: str) -> None:
    """Write a figure by the ending of its file. ``words``: what it shows, for who cannot see it.

    Raises AnswerError where the file cannot be written; what was there before is then still there.
    """

    def made() -> bytes:
        return as_svg(draw, title, words).encode() if file.suffix.lower() == ".svg" else _png(draw, title, words)

    write_paper(file, "--figure", ENDINGS, made)


def as_svg(draw: Callable[[], Figure], title: str, words: str) -> str:
    """The figure as SVG, with text as text, a title and a description that readers speak."""
    from matplotlib import rc_context

    drawn = io.StringIO()
    with rc_context(STYLE):
        draw().savefig(drawn, format="svg", metadata={"Date": None})
    text = drawn.getvalue()
    opening_ends = text.index(">", text.index("<svg"))
    # Several figures may stand on one page.
    name = "-".join(title.lower().split())
    named = f' role="img" aria-labelledby="{name}-title {name}-words"'
    title, words = (escape(said, quote=False) for said in (title, words))
    described = f'<title id="{name}-title">{title}</title>\n<desc id="{name}-words">{words}</desc>'
    return f"{text[:opening_ends]}{named}>\n{described}{text[opening_ends + 1 :]}"


def _png(draw: Callable[[], Figure], title: str, words: str) -> bytes:
    from matplotlib import rc_context

    drawn = io.BytesIO()
    with rc_context(STYLE):
        draw().savefig(drawn, format="png", dpi=DOTS_PER_INCH, metadata={"Title": title, "Description": words})
    return drawn.getvalue()
