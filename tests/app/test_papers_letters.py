"""Names in any script on paper: fonts of the machine, and Arabic and Hebrew in their order."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import pytest
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen
from pypdf import PdfReader

from app.papers import machine_fonts
from app.papers.pdf import Head, font_runs, letters_lacking, safe
from app.papers.right_to_left import in_visual_order
from app.papers.sheet import Sheet
from app.present.block import Paragraph, Table

WANG, PO_PLA = "\u738b", "\u0e1b"


def make_font(file: Path, letter: str, rights: int = 0) -> None:
    """A font that draws one letter, as a square, and a blank."""
    pen = TTGlyphPen(None)
    pen.moveTo((0, 0))
    for point in ((0, 700), (700, 700), (700, 0)):
        pen.lineTo(point)
    pen.closePath()
    builder = FontBuilder(1000)
    builder.setupGlyphOrder([".notdef", "space", "letter"])
    builder.setupCharacterMap({0x20: "space", ord(letter): "letter"})
    builder.setupGlyf({".notdef": TTGlyphPen(None).glyph(), "space": TTGlyphPen(None).glyph(), "letter": pen.glyph()})
    builder.setupHorizontalMetrics({".notdef": (500, 0), "space": (300, 0), "letter": (800, 0)})
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "Squares", "styleName": "Regular", "psName": f"Squares-{file.stem}"})
    builder.setupOS2(fsType=rights)
    builder.setupPost()
    builder.save(file)


def forget() -> None:
    for known in (machine_fonts.font_with, machine_fonts._letters, machine_fonts._known):
        known.cache_clear()


@pytest.fixture
def fonts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder that stands for the fonts of the machine."""
    monkeypatch.setattr(machine_fonts, "_files", lambda: sorted(tmp_path.iterdir()))
    forget()
    yield tmp_path
    forget()


def test_a_letter_that_our_fonts_lack_is_set_in_one_of_the_machine(fonts: Path) -> None:
    make_font(fonts / "squares.ttf", WANG)
    sheet = Sheet(Head("Paper", f"{WANG} Kim", "8 July 2026", WANG))
    sheet.write(Paragraph((f"Kim {WANG}",)), Table(((WANG, "two"),), widths=(0.5, 0.5)))
    pdf = sheet.as_pdf()
    (page,) = PdfReader(io.BytesIO(pdf)).pages
    assert page.extract_text().count(WANG) == 4 and "U+" not in page.extract_text()
    named = [font.get_object() for font in page["/Resources"]["/Font"].values()]
    assert any("Squares" in font["/BaseFont"] for font in named), "and the font is in the file"
    assert letters_lacking(WANG) == []


def test_a_font_that_may_not_be_embedded_or_is_spoilt_is_passed_over(fonts: Path) -> None:
    make_font(fonts / "a.ttf", PO_PLA, rights=2)
    (fonts / "b.ttf").write_bytes(b"no font at all")
    (fonts / "c.ttf").symlink_to(fonts / "nowhere")
    assert letters_lacking(f"{PO_PLA} Kim") == [PO_PLA]
    assert font_runs(f"{PO_PLA} Kim") == [("", "[U+0E1B] Kim")]
    sheet = Sheet(Head("Paper"))
    sheet.write(Paragraph((PO_PLA,)))
    text = PdfReader(io.BytesIO(sheet.as_pdf())).pages[0].extract_text()
    assert "No font on this machine has these characters" in text and "U+0E1B thai character po pla" in text


def test_arabic_is_joined_and_runs_from_the_right() -> None:
    name = "\u0645\u062d\u0645\u062f \u0627\u0644\u0623\u062d\u0645\u062f"
    seen = in_visual_order(f"Client {name}, Sydney")
    assert seen.startswith("Client ") and seen.endswith(", Sydney")
    shown = seen.removeprefix("Client ").removesuffix(", Sydney")
    assert shown[-1] == "\ufee3", "its first letter, meem in its initial form, is at the right"
    assert shown[0] == "\ufeaa", "its last, dal in its final form, at the left"
    assert "\u00a0" in shown and " " not in shown, "it goes over no end of a line"
    assert "\ufef7" in shown, "lam and alef are written as one"


def test_numbers_and_brackets_within_arabic_keep_their_order() -> None:
    street = "\u0634\u0627\u0631\u0639 12 (\u062d\u0633\u0646) \u0628\u064e"
    shown = in_visual_order(street)
    assert "12" in shown and shown.index("(") < shown.index(")")
    assert shown.startswith("\ufe8f\u064e"), "a mark follows its letter"
    assert in_visual_order("\u05d9\u05d5\u05e1\u05d9") == "\u05d9\u05e1\u05d5\u05d9", "Hebrew is not joined"


def test_other_scripts_are_left_as_they_are() -> None:
    for text in ("12 Wattle Street", "Nguy\u1ec5n Th\u1ecb \u00c1nh", "a\nb"):
        assert in_visual_order(text) == text
    assert safe("\u0110\u1eb7ng <b>") == "\u0110\u1eb7ng &lt;b&gt;"
