"""A Finding in the terminal: the name, how sure, why, the others, and the next question."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from app.words import DRAWN, answer_in_full, headline, override_lines, photo_lines, share, shown_candidates
from model.identify import Finding, Key
from model.traits import Answers


def print_finding(finding: Finding, key: Key, answers: Answers, console: Console | None = None) -> None:
    """Print a whole Finding for a person."""
    console = console or Console(highlight=False)
    for line in photo_lines(finding):
        console.print(line, markup=False)
    console.print(headline(finding, key), style="bold", markup=False)
    for line in override_lines(finding, key):
        console.print(line, markup=False)
    console.print(candidates_table(finding))
    if any(c.evidence == "drawn" for c in shown_candidates(finding)[0]):
        console.print(f"* {DRAWN}: the photo only hints at it", markup=False, style="dim")
    if answers:
        given = "; ".join(answer_in_full(key, c, a) for c, a in answers.items())
        console.print(f"Answers: {given}", markup=False, style="dim")
    if finding.next_question is not None:
        question = finding.next_question.character
        console.print(f"Next question ({question.id}): {question.question}", markup=False)


def candidates_table(finding: Finding) -> Table:
    """The best candidates, one a row: probability, the photo's own, answers for and against."""
    table = Table(box=None, pad_edge=False)
    for name in ("chance", "photo"):
        table.add_column(name, justify="right")
    for name in ("plant", "for", "against"):
        table.add_column(name)
    shown, others, rest = shown_candidates(finding)
    for c in shown:
        photo = "-" if c.photo_probability is None else share(c.photo_probability)
        name = f"{c.common_name} ({c.scientific_name})" + (" *" if c.evidence == "drawn" else "")
        table.add_row(share(c.probability), photo, name, ", ".join(c.agrees), ", ".join(c.disagrees))
    table.add_row(share(rest), "", f"{others} other plants together", "", "")
    table.add_row(share(finding.unlisted_probability), "", "none of the plants in the flora", "", "")
    return table
