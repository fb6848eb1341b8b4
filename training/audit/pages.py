"""The contact sheet as PNG pages, to print or to send."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

from model.errors import CollectionError
from model.photo.thumbnail import thumbnail
from model.storage import replace_file
from model.text import day_text
from training.audit.report import Question
from training.audit.sheet import Words

WIDTH, HEIGHT = 1240, 1754  # px: A4 at 150 dots an inch
MARGIN, GAP = 40, 20
ACROSS, DOWN = 4, 5
PICTURE = 180  # px, height of a picture
LARGE, MIDDLE, SMALL = 17, 16, 16  # px: about 8 points
INK, FAINT, WARN = "#1d241c", "#4a5347", "#8a3b00"


def write_pages(path: Path, questions: Sequence[Question], where: Mapping[str, Path], words: Words) -> list[Path]:
    """Write ``path`` with -1, -2, ... before its ending, 20 photos a page. Returns the files.

    Raises CollectionError where one cannot be written.
    """
    size = ACROSS * DOWN
    chunks = [questions[start : start + size] for start in range(0, len(questions), size)]
    written = []
    for number, chunk in enumerate(chunks, start=1):
        out = io.BytesIO()
        page(chunk, where, words, f"{day_text(date.today())}, page {number} of {len(chunks)}").save(out, "PNG")
        file = path.with_name(f"{path.stem}-{number}{path.suffix}")
        try:
            replace_file(file, out.getvalue())
        except OSError as error:
            cause = error.strerror or error
            raise CollectionError(f"{file}: cannot be written ({cause}); choose another place") from None
        written.append(file)
    return written


def page(questions: Sequence[Question], where: Mapping[str, Path], words: Words, foot: str) -> Image.Image:
    """One page of at most 20 photos, RGB (HEIGHT, WIDTH)."""
    sheet = Image.new("RGB", (WIDTH, HEIGHT), "white")
    draw = ImageDraw.Draw(sheet)
    draw.text((MARGIN, HEIGHT - MARGIN), f"Check of labelled photos, {foot}", fill=FAINT, font=_font(16))
    width = (WIDTH - 2 * MARGIN - (ACROSS - 1) * GAP) // ACROSS
    height = (HEIGHT - 3 * MARGIN) // DOWN
    for place, question in enumerate(questions):
        left = MARGIN + (place % ACROSS) * (width + GAP)
        top = MARGIN + (place // ACROSS) * height
        file = where.get(question.photo)
        picture = thumbnail(file, (width, PICTURE)) if file else None
        if picture is None:
            draw.rectangle((left, top, left + width, top + PICTURE), outline=FAINT)
            draw.text((left + 12, top + 12), "cannot be shown", fill=FAINT, font=_font(16))
        else:
            sheet.paste(picture, (left, top))
        _caption(draw, (left, top + PICTURE + 6), width, question, words)
    return sheet


def _caption(draw: ImageDraw.ImageDraw, place: tuple[int, int], width: int, question: Question, words: Words) -> None:
    left, top = place
    score = "" if question.score is None else f", score {question.score:.3f}"
    lines = [(words.called(question.given), INK, LARGE)]
    if question.likelier:
        lines.append((f"likelier {words.called(question.likelier)}{score}", WARN, MIDDLE))
    else:
        lines.append((question.words, WARN, MIDDLE))
    lines.append((question.title, FAINT, SMALL))
    for text, colour, size in lines:
        for line in wrapped(text, width, _font(size)):
            draw.text((left, top), line, fill=colour, font=_font(size))
            top += size + 4


def wrapped(text: str, width: int, font: ImageFont.FreeTypeFont | ImageFont.ImageFont, most: int = 2) -> list[str]:
    """Text in at most ``most`` lines of ``width`` px; where more is left, the last line ends in an ellipsis."""
    text = "".join(c if c.isprintable() else " " for c in text)
    lines: list[str] = []
    while text and len(lines) < most:
        end = len(text)
        while end > 1 and font.getlength(text[:end]) > width:
            end -= 1
        last = len(lines) == most - 1
        if end < len(text) and not last:
            # A word stays whole where that costs less than half of the line.
            space = text.rfind(" ", 0, end)
            end = space if space > end // 2 else end
        if end < len(text) and last:
            lines.append(text[: max(end - 3, 1)] + "...")
            break
        lines.append(text[:end].rstrip())
        text = text[end:].lstrip()
    return lines


def _font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size)
