"""The key of one month for the pocket: on as few sheets of paper as a type allows that can be read."""

from __future__ import annotations

from collections.abc import Callable

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Paragraph

from app.papers.pdf import Head, Layout, build, italic, load_fonts, safe, style
from app.present.finding import month_name
from app.present.key import ends, not_separated, number_of
from model.flora import Flora
from model.printed_key import Couplet, Lead, PrintedKey

LEAST, EASY, MOST = 75, 80, 90  # tenths of a point: the smallest type, what is read easily, and what is large enough
LAYOUT = Layout(columns=3, margin=9 * mm, gap=4 * mm)
OTHERWISE, SHORT = "otherwise", 30  # in place of the longer lead, where that has more letters
NONE_OF_THESE = "none of these"


def pocket_key(printed: PrintedKey, flora: Flora, day: str = "") -> bytes:
    """The key of a month as PDF, on as few sheets, printed on both sides, as LEAST allows.

    On these, leads stand in lines of their own where there is room for that in type that is read EASY, and the type is
    the largest that fits. ``day``: when it was made, as it is printed.
    """
    load_fonts()
    head = _head(printed, day)
    smallest, pages = build(_parts(printed, flora, LEAST), head, LAYOUT)
    room = pages + pages % 2
    apart = _largest(lambda size: build(_parts(printed, flora, size, apart=True), head, LAYOUT), EASY, room)
    return apart or _largest(lambda size: build(_parts(printed, flora, size), head, LAYOUT), LEAST, room) or smallest


def _largest(laid_out: Callable[[int], tuple[bytes, int]], low: int, room: int) -> bytes:
    """What is laid out in the largest type, in tenths of a point, from ``low`` to MOST; empty where none fits."""
    fits, high = b"", MOST
    while low <= high:
        middle = (low + high) // 2
        data, pages = laid_out(middle)
        if pages <= room:
            fits, low = data, middle + 1
        else:
            high = middle - 1
    return fits


def _head(printed: PrintedKey, day: str) -> Head:
    kind = f"Which weed is it, in {month_name(printed.month or 1)}?"
    return Head(
        kind, f"{len(printed.species)} lawn and garden weeds", day, foot="two leads a couplet, one of them fits"
    )


def _parts(printed: PrintedKey, flora: Flora, tenths: int, apart: bool = False) -> list[Flowable]:
    size = tenths / 10
    lines = [_how_to_read(printed), *(_couplet(couplet, printed, flora, apart) for couplet in printed.couplets)]
    how = style(size, leading=size * 1.2, leftIndent=size * 1.3, firstLineIndent=-size * 1.3, spaceAfter=size * 0.35)
    return [_UnsplitParagraph(line, how) for line in lines]


class _UnsplitParagraph(Paragraph):
    """A paragraph that never goes over the end of a column."""

    def split(self, available_width: float, available_height: float) -> list[Flowable]:
        """It moves on as a whole."""
        return []


def _how_to_read(printed: PrintedKey) -> str:
    left = len(printed.out_of_season) + len(printed.names_only)
    out = f" {left} plants on file are left out, most as they are not to be seen then." if left else ""
    return (
        "Start at <b>1</b>. Take the lead that fits and go to its number, until it gives a name. The number in "
        "brackets leads back: do so where neither lead fits well. (mostly): compare both names. *: the plant varies "
        f"and stands in several places.{out}"
    )


def _couplet(couplet: Couplet, printed: PrintedKey, flora: Flora, apart: bool = False) -> str:
    """The shorter lead first where the other is only said to be that; ``apart``: each in a line of its own."""
    leads = sorted(couplet.leads, key=lambda lead: len(lead.text))
    short = len(leads[-1].text) > SHORT and leads[0].text != NONE_OF_THESE
    texts = [leads[0].text, OTHERWISE] if short else [lead.text for lead in couplet.leads]
    order = leads if short else couplet.leads
    parts = (
        f"<b>{letter}</b>&nbsp;{safe(text)}{_destination(lead, printed, flora)}"
        for letter, text, lead in zip("ab", texts, order, strict=True)
    )
    mostly, between = " (mostly)" if couplet.mostly else "", "<br/>" if apart else " "
    return f"<b>{number_of(couplet)}</b>&nbsp;{safe(couplet.character.question)}{mostly}{between}{between.join(parts)}"


def _destination(lead: Lead, printed: PrintedKey, flora: Flora) -> str:
    """Where a lead goes: to a couplet, or to a name, with a star where that stands in several places."""
    if lead.couplet is not None:
        return f"\u00a0\u2192\u00a0<b>{lead.couplet}</b>"
    names = []
    for name, part, scientific in ends(lead, printed, flora):
        names.append(f"<b>{safe(name)}</b>{'*' if part else ''} {italic(shortened(scientific))}")
    note = not_separated(lead)
    return f": {' or '.join(names)}.{f' {safe(note)}' if note else ''}"


def shortened(scientific: str) -> str:
    """A scientific name with the first letter of its genus; the name of a group of plants stays whole.

    >>> shortened("Poa annua"), shortened("Bryophyta"), shortened("Cyanobacteria and green algae")
    ('P. annua', 'Bryophyta', 'Cyanobacteria and green algae')
    """
    words = scientific.split(" ")
    return f"{words[0][:1]}. {words[1]}" if len(words) == 2 else scientific
