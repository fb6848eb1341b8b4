"""The printed key as a paper: couplets in two columns, then how to look."""

from __future__ import annotations

from reportlab.platypus import CondPageBreak, Flowable, KeepTogether, Paragraph, Table

from app.papers.key_words import about, how_to_read, left_out, not_parted, number_of
from app.papers.pdf import HEADING, OWN_FACE, SMALL, SMALL_ITEM, TITLE, Head, Sheet, safe, slanted, style
from model.flora import Flora
from model.printed_key import Couplet, Lead, PrintedKey

QUESTION = style(8.2, fontName="bold", leftIndent=17, firstLineIndent=-17, spaceAfter=1)
LEAD_TEXT = style(8.2, leftIndent=9, firstLineIndent=-9)
GOES_TO = style(8.2, fontName="bold", alignment=2)
END = style(8.2, leftIndent=17, spaceAfter=0.5)
TIGHT = [
    OWN_FACE,
    ("LEFTPADDING", (0, 0), (0, 0), 8),
    ("LEFTPADDING", (1, 0), (1, 0), 0),
    ("RIGHTPADDING", (0, 0), (-1, -1), 0),
    ("TOPPADDING", (0, 0), (-1, -1), 0),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 0.5),
    ("VALIGN", (0, 0), (0, 0), "TOP"),
    ("VALIGN", (1, 0), (1, 0), "BOTTOM"),
]
NARROW, ARROW = 210.0, 28.0  # points: a column, and the number at its right


def key_paper(printed: PrintedKey, flora: Flora) -> bytes:
    """The printed key as PDF, in two columns; what is left out is named at its end."""
    sheet = Sheet(Head("Key to lawn and garden weeds", about(printed), foot="two leads a couplet, one of them fits"))
    sheet.markup(f"Which weed is it?<br/><font size=11>{safe(about(printed))}</font>", TITLE)
    for line in how_to_read(printed):
        sheet.text(line)
    for couplet in printed.couplets:
        sheet.add(KeepTogether(_couplet(couplet, printed, flora)))
    sheet.heading("How to look")
    for character in printed.characters:
        words = f"<b>{safe(character.question)}</b> {safe(character.look)} {safe(character.otherwise)}"
        sheet.add(Paragraph(words, SMALL_ITEM, bulletText="\u2013"))
    for title, lines in left_out(printed, flora):
        sheet.add(CondPageBreak(60), Paragraph(safe(title), HEADING), Paragraph(safe("; ".join(lines)), SMALL))
    return sheet.as_pdf(columns=2)


def _couplet(couplet: Couplet, printed: PrintedKey, flora: Flora) -> list[Flowable]:
    mostly = " <font name=text>(mostly)</font>" if couplet.mostly else ""
    parts: list[Flowable] = [
        Paragraph(f"{number_of(couplet)}&nbsp; {safe(couplet.character.question)}{mostly}", QUESTION)
    ]
    for letter, lead in zip("ab", couplet.leads, strict=True):
        goes = "" if lead.couplet is None else str(lead.couplet)
        row = [Paragraph(f"{letter}&nbsp; {safe(lead.text)}", LEAD_TEXT), Paragraph(goes, GOES_TO)]
        table = Table([row], [NARROW, ARROW], hAlign="LEFT")
        table.setStyle(TIGHT)
        parts += [table, *_ends(lead, printed, flora)]
    parts.append(Paragraph("&nbsp;", style(3.5)))
    return parts


def _ends(lead: Lead, printed: PrintedKey, flora: Flora) -> list[Flowable]:
    parts: list[Flowable] = []
    for species in lead.species:
        plant = flora.species[species]
        part = " (in part)" if len(printed.ends[species]) > 1 else ""
        parts.append(Paragraph(f"<b>{safe(plant.common_name)}</b>{part} {slanted(plant.scientific_name)}", END))
    if len(lead.species) > 1:
        parts.append(Paragraph(safe(not_parted(lead)), style(7.6, leftIndent=17)))
    return parts
