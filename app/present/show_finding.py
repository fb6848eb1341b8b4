"""A Finding in the terminal: the name, how sure, why, the others, and the next question, or what would decide."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from app.present.deciding import known_so_far, message, why_stopped
from app.present.finding import (
    LEAST_NAMED,
    NEVER_PHOTOGRAPHED,
    answer_in_full,
    headline,
    looked_at,
    override_lines,
    photo_lines,
    share,
    shown_candidates,
)
from model.identify import Candidate, Finding, Key
from model.traits import Answers


def print_finding(finding: Finding, key: Key, answers: Answers, console: Console | None = None) -> None:
    """Print a whole Finding for a person."""
    console = console or Console(highlight=False)
    for line in photo_lines(finding):
        console.print(line, markup=False)
    console.print(headline(finding, key), style="bold", markup=False)
    if finding.status == "undecided" and (known := known_so_far(finding, key, answers)):
        console.print(f"What is known: it is {known}.", markup=False)
    for line in override_lines(finding, key):
        console.print(line, markup=False)
    console.print(candidates_table(finding))
    if any(_is_unseen(c, finding) for c in shown_candidates(finding)[0]):
        console.print(f"* {NEVER_PHOTOGRAPHED}", markup=False, style="dim")
    _print_answers(finding, key, answers, console)
    if finding.next_question is not None:
        question = finding.next_question.character
        console.print(f"Next question ({question.id}): {question.question}", markup=False)
    elif finding.status != "unlisted" and (why := why_stopped(finding)):  # for one not on file a sample is asked for
        _print_stop(why, message(finding, key, answers), console)


def _print_answers(finding: Finding, key: Key, answers: Answers, console: Console) -> None:
    """What was looked at and answered, in order, and what of it does not count."""
    if seen := looked_at(finding):
        console.print(seen, markup=False, style="dim")
    for title, chosen in (
        ("Answers", [c for c in answers if c not in finding.set_aside]),
        ("Set aside, as that part cannot be seen", finding.set_aside),
    ):
        if chosen:
            given = "; ".join(answer_in_full(key, c, answers[c]) for c in chosen)
            console.print(f"{title}: {given}", markup=False, style="dim")


def _print_stop(why: str, text: str, console: Console) -> None:
    """Why no more is asked; then the text for whoever has the plant, without breaks in its lines, to be copied."""
    if not text:
        console.print(f"{why} Collect a sample, or take closer photos.", markup=False)
        return
    console.print(f"{why} What would settle it, as a message to whoever has the plant:\n", markup=False)
    for line in text.splitlines():
        console.print(f"    {line}", markup=False, soft_wrap=True)


def _is_unseen(candidate: Candidate, finding: Finding) -> bool:
    return candidate.evidence is None and any(photo["usable"] for photo in finding.photos)


def candidates_table(finding: Finding) -> Table:
    """The best candidates, one a row: probability, the photo's own, answers for and against."""
    shown, others, rest = shown_candidates(finding)
    columns = ["chance", "photo", "plant", "for", "against"]
    rows = [
        [
            share(c.probability),
            "-" if c.photo_probability is None else share(c.photo_probability),
            f"{c.common_name} ({c.scientific_name})" + (" *" if _is_unseen(c, finding) else ""),
            _characters(c.agrees),
            _characters(c.disagrees),
        ]
        for c in shown
    ]
    together = f"{others} other plants together" if shown else f"{others} plants, none of them at {share(LEAST_NAMED)}"
    rows += [[share(rest), "", together, "", ""]]
    rows += [[share(finding.unlisted_probability), "", "none of the plants on file", "", ""]]
    # A column in which nothing stands is left out.
    told = [
        n
        for n, name in enumerate(columns)
        if name in ("chance", "plant") or any(row[n] not in ("", "-") for row in rows)
    ]
    table = Table(box=None, pad_edge=False)
    for n in told:
        table.add_column(columns[n], justify="right" if columns[n] in ("chance", "photo") else "left")
    for row in rows:
        table.add_row(*(row[n] for n in told))
    return table


def _characters(names: tuple[str, ...]) -> str:
    return ", ".join(name.replace("_", " ") for name in names)
