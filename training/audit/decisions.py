"""What a person decided on each photo: keep, relabel or drop. Written and read back as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from model.csv_file import line_of, unguarded
from model.errors import CollectionError, nearest
from model.file import read_file
from model.storage import replace_file
from training.audit.report import Question

COLUMNS = ("photo", "given", "likelier", "score", "decision")
WRITTEN = ("file", *COLUMNS)  # first what a person calls the photo; files of before have no such column
RELABEL = "relabel:"
LARGEST_BYTES = 50_000_000
MOST_ROWS = 200_000
Action = Literal["keep", "relabel", "drop"]


@dataclass(frozen=True)
class Decision:
    """What to do with one photo. ``species`` is the new label of `relabel`, "" otherwise."""

    photo: str
    given: str
    action: Action
    species: str = ""

    @property
    def text(self) -> str:
        """As written in the file."""
        return f"{RELABEL}{self.species}" if self.action == "relabel" else self.action


def question_line(question: Question, decision: str = "") -> str:
    """One line of the file, ended; the decision is empty until a person makes it."""
    score = "" if question.score is None else f"{question.score:.6f}"
    return line_of([question.file, question.photo, question.given, question.likelier, score, decision])


def write_decisions(path: Path, questions: Sequence[Question]) -> int:
    """Write the questions with an empty decision each, in one move.

    Decisions that the file holds already are kept: beside the question, or after all questions
    for a photo that is not asked about any more. One on a photo whose label has changed since
    is let go. Returns how many were kept. Raises CollectionError where the file is there but is
    no file of decisions, or cannot be written.
    """
    made = decided(path) if path.exists() else {}
    given = {q.photo: q.given for q in questions}
    asked = {photo: row["decision"] for photo, row in made.items() if given.get(photo) == row["given"]}
    others = [row for photo, row in made.items() if photo not in given]
    lines = [",".join(WRITTEN) + "\n", *(question_line(q, asked.get(q.photo, "")) for q in questions)]
    lines += [line_of([row[column] for column in WRITTEN]) for row in others]
    try:
        replace_file(path, "".join(lines).encode())
    except OSError as error:
        raise CollectionError(f"{path}: cannot be written ({error.strerror or error}); choose another place") from None
    return len(asked) + len(others)


def decided(path: Path) -> dict[str, dict[str, str]]:
    """The rows of a file that hold a decision, by photo. Raises CollectionError as read_decisions does."""
    return {row["photo"]: row for _, row in _rows(path) if row["decision"]}


def read_decisions(path: Path, species: Collection[str], labels: Mapping[str, str]) -> list[Decision]:
    """Decisions that were made, in the file's order; rows with an empty decision are passed over.

    ``species`` are the labels that a photo may be given; ``labels`` the label that each photo
    has now. What is so already, a photo dropped or relabelled by an earlier run, has the action
    `keep`. Raises CollectionError naming the row, for a photo that is not there or whose label
    has changed otherwise, that has two decisions, or whose decision cannot be understood.
    """
    found: dict[str, Decision] = {}
    for number, row in _rows(path):
        if not row["decision"]:
            continue
        photo, given, where = row["photo"], row["given"], f"{path} row {number}"
        decision = _understood(where, photo, given, row["decision"], species)
        now = labels.get(photo)
        if now == decision.species or (now is None and decision.action == "drop"):
            decision = Decision(photo, given, "keep")
        elif now is None:
            raise CollectionError(
                f"{where}: {photo[:100]!r} is not a photo in the collection; check it again for a new sheet"
            )
        elif now != given:
            raise CollectionError(
                f"{where}: {photo} was {given or 'nothing'} when it was checked and is {now} now; "
                "check again for a new sheet"
            )
        if found.setdefault(photo, decision) != decision:
            raise CollectionError(f"{where}: {photo} has two decisions; leave one")
    return list(found.values())


def _understood(where: str, photo: str, given: str, text: str, species: Collection[str]) -> Decision:
    words = text.strip()
    if words.casefold() == "keep":
        return Decision(photo, given, "keep")
    if words.casefold() == "drop":
        return Decision(photo, given, "drop")
    if not words.casefold().startswith(RELABEL):
        raise CollectionError(f"{where}: {text[:60]!r} is not a decision; write keep, drop or relabel:<species>")
    name = words[len(RELABEL) :].strip()
    if name not in species:
        raise CollectionError(f"{where}: {name[:60]!r} is not a known species; {nearest(name[:60], sorted(species))}")
    if name == given:
        return Decision(photo, given, "keep")
    return Decision(photo, given, "relabel", name)


def _rows(path: Path) -> Iterator[tuple[int, dict[str, str]]]:
    try:
        # Spreadsheets put a mark of the encoding first, and in some countries write semicolons.
        text = read_file(path, LARGEST_BYTES).decode("utf-8-sig")
    except FileNotFoundError:
        raise CollectionError(f"{path}: no such file; name the decisions that the sheet saved") from None
    except (OSError, UnicodeDecodeError) as error:
        raise CollectionError(f"{path}: cannot be read as text ({error}); save it as CSV in UTF-8") from None
    head = text.partition("\n")[0]
    reader = csv.DictReader(io.StringIO(text), delimiter=";" if head.count(";") > head.count(",") else ",")
    try:
        missing = [c for c in COLUMNS if c not in (reader.fieldnames or [])]
        if missing:
            raise CollectionError(f"{path}: has no column {missing[0]}; name the decisions that the sheet saved")
        for number, row in enumerate(reader, start=2):
            if number > MOST_ROWS + 1:
                raise CollectionError(f"{path}: has over {MOST_ROWS} rows; name the decisions that the sheet saved")
            yield number, {column: unguarded((row.get(column) or "").strip()) for column in WRITTEN}
    except csv.Error as error:
        raise CollectionError(f"{path}: is not CSV that can be read ({error}); save it as CSV again") from None
