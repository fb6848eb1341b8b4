"""The printed key as a paper: couplets in two columns, then how to look."""

from __future__ import annotations

from reportlab.platypus import Flowable, KeepTogether, Paragraph, Table

from app.papers.pdf import Head, italic, safe, style
from app.papers.pocket_key import lead_drawings, pocket_key
from app.papers.sheet import OWN_FACE, Sheet
from app.present.block import Bullets, Section
from app.present.key import about, ends, how_to_read, left_out, not_separated, number_of
from model.flora import Flora
from model.printed_key import Couplet, Lead, PrintedKey

QUESTION = style(8.2, fontName="bold", leftIndent=17, firstLineIndent=-17, spaceAfter=1)
LEAD_TEXT = style(8.2, leftIndent=9, firstLineIndent=-9)
GOES_TO = style(8.2, fontName="bold", alignment=2)
END, NOTE, GAP = style(8.2, leftIndent=9, spaceAfter=0.5), style(7.6, leftIndent=9), style(3.5)
TIGHT = [
    OWN_FACE,
    ("LEFTPADDING", (0, 0), (-1, -1), 0),
    ("RIGHTPADDING", (0, 0), (-1, -1), 0),
    ("TOPPADDING", (0, 0), (-1, -1), 0),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 0.5),
    ("VALIGN", (0, 0), (-2, -1), "TOP"),
    ("VALIGN", (-1, 0), (-1, -1), "BOTTOM"),
]
NARROW, ARROW, DRAWN, INDENT = 210.0, 28.0, 30.0, 8.0  # points: a column, the number at its right, a drawing
MOST_DRAWN = 2  # states of a lead; one with more is told by the other


def key_paper(printed: PrintedKey, flora: Flora, day: str = "") -> bytes:
    """The printed key as PDF: that of a month on a few pages for the pocket, that of the year with drawings.

    ``day``: when it was made, as it is printed.
    """
    return whole_key(printed, flora, day) if printed.month is None else pocket_key(printed, flora, day)


def whole_key(printed: PrintedKey, flora: Flora, day: str = "") -> bytes:
    """The key as PDF, in two columns, with drawings of what its leads name; what is left out is named at its end."""
    foot = "two leads a couplet, one of them fits"
    sheet = Sheet(Head("Key to lawn and garden weeds", about(printed), day, foot=foot))
    sheet.title(f"Which weed is it?<br/><font size=11>{safe(about(printed))}</font>")
    sheet.write(*how_to_read(printed))
    for couplet in printed.couplets:
        sheet.add(KeepTogether(_couplet(couplet, printed, flora)))
    look = tuple(f"{one.question} {one.look} {one.otherwise}" for one in printed.characters)
    sheet.write(Section("How to look", (Bullets(look, "small"),)), *left_out(printed, flora))
    return sheet.as_pdf(columns=2)


def _couplet(couplet: Couplet, printed: PrintedKey, flora: Flora) -> list[Flowable]:
    mostly = " <font name=text>(mostly)</font>" if couplet.mostly else ""
    question = f"{number_of(couplet)}&nbsp; {safe(couplet.character.question)}{mostly}"
    parts: list[Flowable] = [Paragraph(question, QUESTION)]
    for letter, lead in zip("ab", couplet.leads, strict=True):
        goes = "" if lead.couplet is None else str(lead.couplet)
        drawings = lead_drawings(couplet, lead, DRAWN - 5, MOST_DRAWN)
        words = [Paragraph(f"{letter}&nbsp; {safe(lead.text)}", LEAD_TEXT), *_ends(lead, printed, flora)]
        widths = [DRAWN] * len(drawings)
        table = Table(
            [["", *drawings, words, Paragraph(goes, GOES_TO)]],
            [INDENT, *widths, NARROW - INDENT - sum(widths), ARROW],
            hAlign="LEFT",
        )
        table.setStyle(TIGHT)
        parts.append(table)
    return [*parts, Paragraph("&nbsp;", GAP)]


def _ends(lead: Lead, printed: PrintedKey, flora: Flora) -> list[Flowable]:
    found: list[Flowable] = [
        Paragraph(f"<b>{safe(name)}</b>{part} {italic(scientific)}", END)
        for name, part, scientific in ends(lead, printed, flora)
    ]
    note = not_separated(lead)
    return [*found, Paragraph(safe(note), NOTE)] if note else found
