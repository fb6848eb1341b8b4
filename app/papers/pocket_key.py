"""The key of one month for the pocket: on as few sheets of paper as a type allows that can be read."""

from __future__ import annotations

from collections.abc import Callable

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, Paragraph, Table

from app.figures.line_drawings import line_drawing
from app.figures.telling import ABSENT, UNSEEN
from app.papers.pdf import Head, Layout, build, italic, load_fonts, safe, style
from app.papers.plant_figure import TOP_LEFT, LineDrawing
from app.present.finding import month_name
from app.present.key import ends, not_separated, number_of
from model.flora import Flora
from model.printed_key import Couplet, Lead, PrintedKey

LEAST, EASY, MOST = 75, 80, 90  # tenths of a point: the smallest type, what is read easily, and what is large enough
LAYOUT = Layout(columns=3, margin=9 * mm, gap=4 * mm)
OTHERWISE, SHORT = "otherwise", 30  # in place of the longer lead, where that has more letters
NONE_OF_THESE = "none of these"
DRAWN, MOST_DRAWN, SIDE = 6, 3, 22.0  # couplets with drawings, those that most come by; states of a lead; points


def pocket_key(printed: PrintedKey, flora: Flora, day: str = "") -> bytes:
    """The key of a month as PDF, on as few sheets, printed on both sides, as LEAST allows.

    The couplets that most plants come by have drawings. Leads stand in lines of their own where these sheets have room
    for that in type that is read EASY, and the type is the largest that fits. ``day``: when it was made, as printed.
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
    parts: list[Flowable] = [_UnsplitParagraph(line, how) for line in lines]
    met = sorted(printed.couplets, key=lambda couplet: -len(_plants_below(couplet, printed)))
    drawn = [(couplet, row) for couplet in met if (row := _drawings(couplet, size))]
    for couplet, row in drawn[:DRAWN]:
        parts[couplet.number] = KeepTogether([parts[couplet.number], *row])
    return parts


def _plants_below(couplet: Couplet, printed: PrintedKey) -> set[str]:
    """The plants of which some come by a couplet."""
    below = [_plants_below(printed.couplets[lead.couplet - 1], printed) for lead in couplet.leads if lead.couplet]
    return {species for lead in couplet.leads for species in lead.species}.union(*below)


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
    """The question and its leads; ``apart``: each in a line of its own."""
    parts = (
        f"<b>{letter}</b>&nbsp;{safe(text)}{_destination(lead, printed, flora)}"
        for letter, text, lead in _leads(couplet)
    )
    mostly, between = " (mostly)" if couplet.mostly else "", "<br/>" if apart else " "
    return f"<b>{number_of(couplet)}</b>&nbsp;{safe(couplet.character.question)}{mostly}{between}{between.join(parts)}"


def _leads(couplet: Couplet) -> list[tuple[str, str, Lead]]:
    """Both leads with letter and words; the shorter first where the other is only said to be that."""
    leads = sorted(couplet.leads, key=lambda lead: len(lead.text))
    short = len(leads[-1].text) > SHORT and leads[0].text != NONE_OF_THESE
    texts = [leads[0].text, OTHERWISE] if short else [lead.text for lead in couplet.leads]
    return list(zip("ab", texts, leads if short else couplet.leads, strict=True))


def lead_drawings(couplet: Couplet, lead: Lead, side: float, most: int) -> list[Flowable]:
    """What a lead names, drawn in squares of ``side`` points; none where it names more than ``most`` states, or what no
    line drawing tells."""
    if couplet.character.id in UNSEEN or len(lead.states) > most:
        return []
    svgs = (line_drawing(couplet.character.id, state).svg for state in lead.states if state not in ABSENT)
    return [LineDrawing(svg, side) for svg in svgs if svg]


def _drawings(couplet: Couplet, size: float) -> list[Flowable]:
    """A row of what the leads name in words of their own, drawn, each lead after its letter; nothing where none is."""
    row: list[Flowable] = []
    for letter, text, lead in _leads(couplet):
        drawn = lead_drawings(couplet, lead, SIDE - 3, MOST_DRAWN) if text not in (OTHERWISE, NONE_OF_THESE) else []
        row += [Paragraph(f"<b>{letter}</b>", style(size)), *drawn] if drawn else []
    widths = [SIDE if isinstance(cell, LineDrawing) else size * 1.1 for cell in row]
    before, after = -size * 0.2, size * 0.3
    return [Table([row], widths, hAlign="LEFT", style=TOP_LEFT, spaceBefore=before, spaceAfter=after)] if row else []


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
