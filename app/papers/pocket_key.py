"""The key of one month for the pocket: two pages of A4, each couplet run together, in the largest type that fits."""

from __future__ import annotations

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Paragraph

from app.papers.pdf import Head, Layout, build, load_fonts, safe, slanted, style
from app.present.finding import month_name
from app.present.key import about, ends, not_separated, number_of
from model.errors import SwardkeyError
from model.flora import Flora
from model.printed_key import Couplet, Lead, PrintedKey

PAGES = 2
SIZES = [size / 10 for size in range(80, 47, -1)]  # points
LAYOUT = Layout(columns=3, margin=9 * mm, gap=4 * mm)
OTHERWISE, SHORT = "otherwise", 30  # in place of the longer lead, where that has more letters
NONE_OF_THESE = "none of these"


def pocket_key(printed: PrintedKey, flora: Flora) -> bytes:
    """The key of a month as PDF. Raises SwardkeyError where it does not fit on two pages in any type."""
    load_fonts()
    fits, low, high = b"", 0, len(SIZES) - 1
    while low <= high:
        middle = (low + high) // 2
        data, pages = build(_parts(printed, flora, SIZES[middle]), _head(printed), LAYOUT)
        if pages <= PAGES:
            fits, high = data, middle - 1
        else:
            low = middle + 1
    if not fits:
        raise SwardkeyError(f"the key of {about(printed)} does not fit on {PAGES} pages; print that of all months")
    return fits


def _head(printed: PrintedKey) -> Head:
    kind = f"Which weed is it, in {month_name(printed.month or 1)}?"
    return Head(kind, f"{len(printed.species)} lawn and garden weeds", foot="two leads a couplet, one of them fits")


def _parts(printed: PrintedKey, flora: Flora, size: float) -> list[Flowable]:
    lines = [_how_to_read(printed), *(_couplet(couplet, printed, flora) for couplet in printed.couplets)]
    how = style(size, leading=size * 1.2, leftIndent=size * 1.3, firstLineIndent=-size * 1.3, spaceAfter=size * 0.35)
    return [_Whole(line, how) for line in lines]


class _Whole(Paragraph):
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


def _couplet(couplet: Couplet, printed: PrintedKey, flora: Flora) -> str:
    """The shorter lead first where the longer one is only said to be the other."""
    leads = sorted(couplet.leads, key=lambda lead: len(lead.text))
    short = len(leads[-1].text) > SHORT and leads[0].text != NONE_OF_THESE
    texts = [leads[0].text, OTHERWISE] if short else [lead.text for lead in couplet.leads]
    order = leads if short else couplet.leads
    parts = (
        f"<b>{letter}</b>&nbsp;{safe(text)}{_goes(lead, printed, flora)}"
        for letter, text, lead in zip("ab", texts, order, strict=True)
    )
    mostly = " (mostly)" if couplet.mostly else ""
    return f"<b>{number_of(couplet)}</b>&nbsp;{safe(couplet.character.question)}{mostly} {' '.join(parts)}"


def _goes(lead: Lead, printed: PrintedKey, flora: Flora) -> str:
    """Where a lead goes: to a couplet, or to a name, with a star where that stands in several places."""
    if lead.couplet is not None:
        return f"\u00a0\u2192\u00a0<b>{lead.couplet}</b>"
    names = []
    for name, part, scientific in ends(lead, printed, flora):
        genus, _, rest = scientific.partition(" ")
        names.append(f"<b>{safe(name)}</b>{'*' if part else ''} {slanted(f'{genus[:1]}. {rest}')}")
    note = not_separated(lead)
    return f": {' or '.join(names)}.{f' {safe(note)}' if note else ''}"
