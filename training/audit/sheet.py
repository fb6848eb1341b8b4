"""The contact sheet: one HTML file that holds its pictures, and on which decisions are made."""

from __future__ import annotations

import base64
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from importlib.resources import files
from pathlib import Path

from PIL import Image

from model.errors import CollectionError, PhotoError
from model.photo import open_photo
from model.storage import replace_file
from training.audit.decisions import COLUMNS, RELABEL, question_line
from training.audit.report import Called, Question, Why

THUMBNAIL = (320, 320)  # px, at most: sharp on a screen with two dots to the px
JPEG_QUALITY = 75

Progress = Callable[[int], None]

SECTIONS: dict[Why, tuple[str, str]] = {
    "two labels": ("One picture, two names", "At most one of the names is right."),
    "label": (
        "Labels that may be wrong",
        "The most doubtful first. The score is the chance of the given name, judged by photos of other plants.",
    ),
    "copy": ("Copies", "Copies do no harm, but count as one picture."),
    "quality": ("Hard to use", "Blurred or dark photos may still be kept."),
}


@dataclass(frozen=True)
class Words:
    """How the sheet speaks: ``called`` turns a label into words; ``species`` are the labels to choose from."""

    called: Called
    species: Sequence[str]


def write_sheet(
    path: Path,
    questions: Sequence[Question],
    where: Mapping[str, Path],
    words: Words,
    made: Mapping[str, str] | None = None,
    progress: Progress = lambda done: None,
) -> None:
    """Write the sheet as one HTML file, in one move.

    ``where``: the file of each photo, by name. ``made``: decisions that were made before, by
    photo. Raises CollectionError where it cannot be written. The page loads nothing from
    anywhere and sends nothing; all names are escaped.
    """
    text = sheet_html(questions, where, words, path.with_suffix(".csv").name, made or {}, progress)
    try:
        replace_file(path, text.encode())
    except OSError as error:
        raise CollectionError(f"{path}: cannot be written ({error.strerror or error}); choose another place") from None


def sheet_html(
    questions: Sequence[Question],
    where: Mapping[str, Path],
    words: Words,
    csv_name: str,
    made: Mapping[str, str],
    progress: Progress = lambda done: None,
) -> str:
    """The whole page. ``csv_name`` is the name under which the browser saves the decisions."""
    here = files(__package__)
    style, script = (here.joinpath(name).read_text(encoding="utf-8") for name in ("sheet.css", "sheet.js"))
    done = 0
    parts = []
    for why, (title, lead) in SECTIONS.items():
        mine = [q for q in questions if q.why == why]
        cards = []
        for question in mine:
            cards.append(_card(question, where.get(question.photo), words, made.get(question.photo, "")))
            done += 1
            progress(done)
        if mine:
            body = "".join(cards)
            parts.append(f'<h2>{escape(title)} ({len(mine)})</h2><p>{escape(lead)}</p><div class="cards">{body}</div>')
    options = "".join(f'<option value="{escape(s)}">{escape(words.called(s))}</option>' for s in words.species)
    return _PAGE.format(
        style=style,
        script=script,
        head=escape(",".join(COLUMNS)),
        file=escape(csv_name),
        count=len(questions),
        body="".join(parts) or "<p>No photo needs a decision.</p>",
        options=options,
    )


# Nothing but what is written in the page itself may be loaded or run.
_PAGE = """<!doctype html>
<html lang="en-AU">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy"
 content="default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'">
<title>Check of labelled photos</title>
<style>{style}</style>
</head>
<body data-head="{head}" data-file="{file}">
<h1>Check of labelled photos</h1>
<p>{count} photos to decide on. Keep, relabel or drop each one, then save the decisions: a CSV file, which
<code>swardkey collect check --decisions FILE --apply</code> carries out. What is left undecided stays as it is.</p>
{body}
<datalist id="species">{options}</datalist>
<div class="bar"><output></output><button type="button">Save decisions</button></div>
<script>{script}</script>
</body>
</html>
"""


def _card(question: Question, file: Path | None, words: Words, made: str) -> str:
    name = escape(question.photo)
    choices = {"": "undecided", "keep": f"keep: {words.called(question.given)}"}
    if question.likelier:
        choices[f"{RELABEL}{question.likelier}"] = f"relabel: {words.called(question.likelier)}"
    choices["other"] = "relabel: another species"
    choices["drop"] = "drop: leave it out"
    chosen, other = made, ""
    if made not in choices and made.startswith(RELABEL):
        chosen, other = "other", made.removeprefix(RELABEL)
    options = "".join(
        f'<option value="{escape(value)}"{" selected" if value == chosen else ""}>{escape(label)}</option>'
        for value, label in choices.items()
    )
    likelier = f'<div class="likelier">likelier: {escape(words.called(question.likelier))}</div>'
    score = "" if question.score is None else f" (score {question.score:.3f})"
    line = question_line(question).rstrip("\n")
    return (
        f'<div class="card" data-line="{escape(line)}"><div class="picture">{_picture(file, question)}</div>'
        f'<div class="told"><div class="given">{escape(words.called(question.given))}</div>'
        f"{likelier if question.likelier else ''}"
        f'<div class="words">{escape(question.words + score)}</div><div class="file">{name}</div>'
        f'<label>Decision<select aria-label="Decision on {name}">{options}</select></label>'
        f'<label class="other" hidden>Species<input list="species" value="{escape(other)}" autocomplete="off"></label>'
        "</div></div>"
    )


def _picture(file: Path | None, question: Question) -> str:
    image = thumbnail(file, THUMBNAIL)
    if image is None:
        return "cannot be shown"
    out = io.BytesIO()
    image.save(out, "JPEG", quality=JPEG_QUALITY)
    data = base64.b64encode(out.getvalue()).decode("ascii")
    return f'<img loading="lazy" alt="{escape(question.photo)}" src="data:image/jpeg;base64,{data}">'


def thumbnail(file: Path | None, size: tuple[int, int]) -> Image.Image | None:
    """A small upright copy of a photo, without metadata; None where it cannot be read."""
    if file is None:
        return None
    try:
        image = Image.fromarray(open_photo(file).pixels)
    except (PhotoError, OSError):
        return None
    image.thumbnail(size)
    return image
