"""The record of a treatment as a paper."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from app.papers.pdf import Head
from app.papers.sheet import Sheet
from app.present.block import Paragraph, Section, bullets
from app.present.finding import day_text
from app.present.record import Versions, record_blocks, record_kind, standing
from app.records.book_mark import mark_on_paper
from app.records.entries import Current, Treatment
from app.services.objections import HEADING, against

if TYPE_CHECKING:
    from app.records import Records


def paper_of_treatment(records: Records, number: int, maker: str = "") -> bytes:
    """The record of a treatment in the book, as PDF. Raises RecordsError where there is none."""
    current, versions = records.current("treatment", number), records.versions("treatment", number)
    assert isinstance(current.record, Treatment)
    remarks = [str(remark) for remark in against(records, current.record)]
    return record_paper(current, versions, maker, remarks, mark_on_paper(records))  # type: ignore[arg-type]  # all are of a treatment


def record_paper(
    current: Current, versions: Versions = (), maker: str = "", remarks: Iterable[str] = (), mark: str = ""
) -> bytes:
    """The record of a treatment as PDF.

    ``versions``: every signed one, oldest first; ``remarks``: what speaks against what was done; ``mark``: of the
    book, for the foot.
    """
    treatment = current.record
    assert isinstance(treatment, Treatment)
    kind = record_kind(treatment)
    where = f"{treatment.address or 'address not given'}, {treatment.state or 'state not given'}"
    sheet = Sheet(Head(kind, where, day_text(treatment.day), maker, mark))
    name = f"{kind} {treatment.id}" if treatment.id else kind
    sheet.title(f'{name}<font name="text" size="10.5">  \u00b7  {standing(current)}</font>')
    said = bullets(remarks, "small")
    aside = Paragraph(("Noted by swardkey when this paper was made. It is not part of what is signed.",), "small")
    objections = Section(HEADING, (*said, aside) if said else (), together=True)
    sheet.write(*record_blocks(current, versions, [objections]))
    return sheet.as_pdf()
