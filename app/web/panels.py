"""The parts of the page that are HTML of ours: finding, ranking and question. All text escaped."""

from __future__ import annotations

from html import escape
from pathlib import Path

from app.words import answer_in_full, headline, override_lines, photo_lines, share, shown_candidates
from model.flora.character import Character
from model.identify import Candidate, Finding, Key
from model.traits import Answers

STYLE = Path(__file__).with_name("page.css")


def finding_panel(finding: Finding, key: Key, answers: Answers) -> str:
    """The finding with its reasons."""
    lines = [*_reasons(finding, key, answers), *photo_lines(finding), *override_lines(finding, key)]
    small = "".join(f"<p class='sk-small'>{escape(line)}</p>" for line in lines)
    return (
        f"<div class='sk-finding {finding.status}' role='status' aria-live='polite'>"
        f"<p class='sk-status'>{finding.status}</p>"
        f"<p class='sk-name'>{escape(headline(finding, key))}</p>{small}</div>"
    )


def _reasons(finding: Finding, key: Key, answers: Answers) -> list[str]:
    if finding.species is None:
        return []
    lead = finding.candidates[0]
    lines = []
    for words, characters in (("Speaks for it", lead.agrees), ("Speaks against it", lead.disagrees)):
        if characters:
            lines.append(f"{words}: " + "; ".join(answer_in_full(key, c, answers[c]) for c in characters) + ".")
    return lines


def ranking_panel(finding: Finding) -> str:
    """The best candidates with bars; each bar has its figure in text beside it."""
    shown, others, rest = shown_candidates(finding)
    rows = [_row(c) for c in shown]
    rows.append(_bar_row(f"{others} other plants together", "", rest, None))
    rows.append(_bar_row("none of the plants in the flora", "", finding.unlisted_probability, None))
    return (
        "<table class='sk-rank'><thead><tr><th>Plant</th><th class='sk-num'>Chance</th>"
        f"<th class='sk-num'>By photo alone</th></tr></thead><tbody>{''.join(rows)}</tbody></table>"
    )


def _row(candidate: Candidate) -> str:
    against = f" · against: {len(candidate.disagrees)}" if candidate.disagrees else ""
    agree = f" · for: {len(candidate.agrees)}" if candidate.agrees else ""
    detail = f"{candidate.scientific_name}{agree}{against}"
    return _bar_row(candidate.common_name, detail, candidate.probability, candidate.photo_probability)


def _bar_row(name: str, detail: str, probability: float, photo: float | None) -> str:
    seen = "-" if photo is None else share(photo)
    return (
        f"<tr><td>{escape(name)}<span class='sk-bar' aria-hidden='true'>"
        f"<i style='width:{probability * 100:.1f}%'></i></span>"
        f"<span class='sk-small'><em>{escape(detail)}</em></span></td>"
        f"<td class='sk-num'>{share(probability)}</td><td class='sk-num'>{seen}</td></tr>"
    )


def question_panel(character: Character | None, asked: int, finding: Finding) -> str:
    """The question, where to look, and what counts as no."""
    if character is None:
        done = "The name is proven." if finding.status == "confirmed" else "No question is left that would tell more."
        return f"<div class='sk-ask'><h3>{done}</h3></div>"
    return (
        f"<div class='sk-ask'><p class='sk-small'>Question {asked + 1}</p><h3>{escape(character.question)}</h3>"
        f"<p>{escape(character.look)}</p><p class='sk-small'>{escape(character.otherwise)}</p></div>"
    )
