"""A whole Finding in the terminal: the name, how sure, why, the others, and the next question or what would decide."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import Console

from app.present import finding as words
from app.present.block import Block, Paragraph, Table
from app.present.console import print_blocks
from app.present.deciding import known_so_far, message, why_stopped
from model.identify import Candidate, Finding, Key
from model.traits import Answers


def print_finding(finding: Finding, key: Key, answers: Answers, console: Console | None = None) -> None:
    """Print a whole Finding for a person."""
    console = console or Console(highlight=False)
    known = known_so_far(finding, key, answers) if finding.status == "undecided" else ""
    print_blocks(
        (
            *_lines(words.photo_lines(finding)),
            Paragraph((words.headline(finding, key),), "strong"),
            *_lines([f"So far: {known}."] if known else []),
            *_lines(words.override_lines(finding, key)),
            *candidates(finding),
            *_lines(filter(None, [words.photo_and_chance(finding, key)])),
            *_answers(finding, key, answers),
        ),
        console=console,
    )
    if finding.next_question is not None:
        question = finding.next_question.character
        console.print(f"Next question ({question.id}): {question.question}", markup=False)
        for line in (*words.possible_answers(question), "      unsure"):
            console.print(line, markup=False)
    elif finding.status != "unlisted" and (why := why_stopped(finding)):  # for one not on file a sample is asked for
        _print_stop(why, message(finding, key, answers), console)


def print_candidates(finding: Finding, console: Console | None = None) -> None:
    """Print the best candidates."""
    print_blocks(candidates(finding), console=console)


def candidates(finding: Finding) -> tuple[Block, ...]:
    """The best candidates, one a row: probability, the photo's own, answers for and against."""
    shown, others, rest = words.shown_candidates(finding)
    rows = [
        (
            words.share(c.probability),
            "-" if c.photo_probability is None else words.share(c.photo_probability),
            f"{c.common_name} ({c.scientific_name})" + (" *" if _never_photographed(c, finding) else ""),
            _characters(c.agrees),
            _characters(c.disagrees),
        )
        for c in shown
    ]
    least = words.share(words.LEAST_NAMED)
    together = f"{others} other plants together" if shown else f"{others} plants, none of them at {least}"
    rows.append((words.share(rest), "", together, "", ""))
    rows.append((words.share(finding.unlisted_probability), "", "none of the plants on file", "", ""))
    marked = any(_never_photographed(c, finding) for c in shown)
    note = [Paragraph((f"* {words.NEVER_PHOTOGRAPHED}",), "small")] if marked else []
    return Table(tuple(rows), ("chance", "photo", "plant", "for", "against")), *note


def _never_photographed(candidate: Candidate, finding: Finding) -> bool:
    return candidate.evidence is None and any(photo["usable"] for photo in finding.photos)


def _answers(finding: Finding, key: Key, answers: Answers) -> tuple[Paragraph, ...]:
    """What was looked at and answered, in order, and what of it does not count."""
    lines = [words.looked_at(finding)]
    for title, chosen in (
        ("Answers", [c for c in answers if c not in finding.set_aside]),
        ("Set aside, as that part cannot be seen", finding.set_aside),
    ):
        given = "; ".join(f"{_characters([c])}: {words.answer_text(key, c, answers[c])}" for c in chosen)
        lines.append(f"{title}: {given}" if given else "")
    return tuple(Paragraph((line,), "small") for line in lines if line)


def _print_stop(why: str, text: str, console: Console) -> None:
    """Why no more is asked; then the text for whoever has the plant, without breaks in its lines, to be copied."""
    if not text:
        console.print(f"{why} Collect a sample, or take closer photos.", markup=False)
        return
    console.print(f"{why} What would settle it, as a message to the person who has the plant:\n", markup=False)
    for line in text.splitlines():
        console.print(f"    {line}", markup=False, soft_wrap=True)
    console.print("\nOr let them tap the answers: swardkey request makes a page with drawings to send.", markup=False)


def _lines(lines: Iterable[str]) -> tuple[Paragraph, ...]:
    return tuple(Paragraph((line,)) for line in lines)


def _characters(names: Iterable[str]) -> str:
    return ", ".join(name.replace("_", " ") for name in names)
