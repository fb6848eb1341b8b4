"""What a person decided on each photo: keep, relabel or drop. Written and read back as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from model.errors import CollectionError, nearest
from training.audit.report import Question
from training.collection.rows import guarded, unguarded
from training.durable import replace_file

COLUMNS = ("photo", "given", "likelier", "score", "decision")
RELABEL = "relabel:"
LARGEST_BYTES = 50_000_000
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
        """As it stands in the file."""
        return f"{RELABEL}{self.species}" if self.action == "relabel" else self.action


def question_line(question: Question, decision: str = "") -> str:
    """One line of the file, ended; the decision is empty until a person makes it."""
    score = "" if question.score is None else f"{question.score:.6f}"
    out = io.StringIO()
    cells = (question.photo, question.given, question.likelier, score, decision)
    csv.writer(out, lineterminator="\n").writerow([guarded(cell) for cell in cells])
    return out.getvalue()


def write_decisions(path: Path, questions: Sequence[Question], made: Mapping[str, str] | None = None) -> int:
    """Write the questions with an empty decision each, in one move.

    ``made``: decisions that stay, by photo. Without it, those are kept that the file holds
    already for a photo that has the same label still. Returns how many were kept. Raises
    CollectionError where the file is there but is no file of decisions, or cannot be written.
    """
    if made is None:
        made = _decided(path) if path.exists() else {}
    kept = {q.photo: made[q.photo] for q in questions if q.photo in made}
    lines = [",".join(COLUMNS) + "\n", *(question_line(q, kept.get(q.photo, "")) for q in questions)]
    try:
        replace_file(path, "".join(lines).encode())
    except OSError as error:
        raise CollectionError(f"{path}: cannot be written ({error.strerror or error}); choose another place") from None
    return len(kept)


def _decided(path: Path) -> dict[str, str]:
    return {row["photo"]: row["decision"] for _, row in _rows(path) if row["decision"]}


def read_decisions(path: Path, species: Collection[str], labels: Mapping[str, str]) -> list[Decision]:
    """Decisions that were made, in the file's order; rows with an empty decision are passed over.

    ``species`` are the labels that a photo may be given; ``labels`` the label that each photo
    has now. Raises CollectionError naming the row, for a photo that is not there, whose label
    has changed since, that has two decisions, or whose decision cannot be understood.
    """
    found: dict[str, Decision] = {}
    for number, row in _rows(path):
        if not row["decision"]:
            continue
        photo, where = row["photo"], f"{path} row {number}"
        if photo not in labels:
            raise CollectionError(f"{where}: {photo!r} is no photo of the collection; check it again for a new sheet")
        if labels[photo] != row["given"]:
            raise CollectionError(
                f"{where}: {photo} was {row['given'] or 'nothing'} when it was checked and is {labels[photo]} now; "
                "check again for a new sheet"
            )
        decision = _understood(where, photo, row["given"], row["decision"], species)
        if found.setdefault(photo, decision) != decision:
            raise CollectionError(f"{where}: {photo} has two decisions; leave one")
    return list(found.values())


def _understood(where: str, photo: str, given: str, said: str, species: Collection[str]) -> Decision:
    words = said.strip()
    if words.casefold() == "keep":
        return Decision(photo, given, "keep")
    if words.casefold() == "drop":
        return Decision(photo, given, "drop")
    if not words.casefold().startswith(RELABEL):
        raise CollectionError(f"{where}: {said!r} is no decision; write keep, drop or relabel:<species>")
    name = words[len(RELABEL) :].strip()
    if name not in species:
        raise CollectionError(f"{where}: {name!r} is no species that is known; {nearest(name, sorted(species))}")
    if name == given:
        return Decision(photo, given, "keep")
    return Decision(photo, given, "relabel", name)


def _rows(path: Path) -> list[tuple[int, dict[str, str]]]:
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise CollectionError(f"{path}: is too large for a file of decisions; name the one beside the sheet")
        # Spreadsheets put a mark of the encoding first, and in some countries write semicolons.
        text = path.read_bytes().decode("utf-8-sig")
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
        return [(n, {c: unguarded(row[c] or "").strip() for c in COLUMNS}) for n, row in enumerate(reader, start=2)]
    except csv.Error as error:
        raise CollectionError(f"{path}: is not CSV that can be read ({error}); save it as CSV again") from None
