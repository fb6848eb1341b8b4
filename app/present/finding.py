"""What a Finding says, in sentences, and how chances, months and days are written."""

from __future__ import annotations

import calendar
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from model.finding import CONFIRMED, LEADS
from model.flora.character import PARTS, UNSURE, Character
from model.text import day_text as day_text  # commands and pages take it from here

if TYPE_CHECKING:
    from model.finding import Candidate, Finding
    from model.identify import Key
    from model.traits import Answers
    from model.traits.answers import Answer

LEAST_NAMED = 0.10  # a plant that is less probable is not put forward by name
SEEN = {"leaves": "leaves", "flowers": "flowers", "seeds": "seed or fruit", "roots": "roots"}
NEVER_PHOTOGRAPHED = "not in the photo model"  # of candidates beside a photo
SAMPLE = "Collect a sample and ask a herbarium or weeds officer."
STATUS = {"confirmed": "Confirmed", "likely": "Likely", "undecided": "Undecided", "unlisted": "Not in the flora"}
FAR_APART = 0.2  # a photo's figure this far above the chance is explained
FOR, AGAINST = "Evidence for it", "Evidence against it"


def share(probability: float) -> str:
    """A probability in per cent; never 0 or 100, which would claim too much.

    >>> share(0.9999), share(0.123), share(0.0)
    ('>99 %', '12 %', '<1 %')
    """
    if probability > 0.995:
        return ">99 %"
    if probability < 0.005:
        return "<1 %"
    return f"{probability * 100:.0f} %"


def status_text(status: str, name: str, probability: float | None, lacking: str = "Not confirmed yet.") -> str:
    """A name and how far it is proven; ``lacking``: what a likely one still needs, ``probability`` of an unlisted one.

    >>> status_text("likely", "bindii", 0.91)
    'Likely: bindii, 91 %. Not confirmed yet.'
    """
    named = name if probability is None else f"{name}, {share(probability)}"
    chance = "" if probability is None else f" ({share(probability)})"
    texts = {
        "confirmed": f"{named}. The answers rule out every look-alike on file, and fit too closely for an "
        "unlisted relative.",
        "likely": f"{named}. {lacking}",
        "unlisted": f"no plant on file fits{chance}. {SAMPLE}",
        "undecided": "not enough yet to name it.",
    }
    known = status if status in STATUS else "undecided"  # a record may hold any word
    return f"{STATUS[known]}: {texts[known]}"


def headline(finding: Finding, key: Key) -> str:
    """The finding in one or two sentences."""
    if finding.status == "unlisted":
        return status_text("unlisted", "", finding.unlisted_probability)
    if finding.species is None or finding.probability is None:
        relative = finding.relative_probability
        if relative is not None and relative >= LEADS:
            like = key.flora.species[finding.candidates[0].species].common_name
            return (
                f"{STATUS['undecided']}: it is like {like}, but the answers point to a plant that is not in the flora "
                f"({share(relative)}). {SAMPLE}"
            )
        further = "" if finding.next_question is None else " Answer the next question."
        return status_text("undecided", "", None) + further
    plant = key.flora.species[finding.species]
    name = f"{plant.common_name} ({plant.scientific_name})"
    return status_text(finding.status, name, finding.probability, _lacking(finding, key))


def _lacking(finding: Finding, key: Key) -> str:
    """What a likely name still needs."""
    others = [*(key.flora.species[s].common_name for s in finding.still_to_exclude), *finding.outside_to_exclude]
    lines = [f"Not ruled out yet: {', '.join(others)}." if others else "Not confirmed yet."]
    relative = finding.relative_probability
    if not others and relative is not None and relative > 1 - CONFIRMED:
        lines.append(f"It may still be a relative that is not on file ({share(relative)}).")
    if finding.hangs_on is not None:
        lines.append(f"It depends on one answer: {key.flora.characters[finding.hangs_on].question}")
    return " ".join(lines)


def shown_candidates(finding: Finding) -> tuple[list[Candidate], int, float]:
    """The candidates worth a line, five at most; how many others there are, and their share together."""
    shown = [c for c in finding.candidates[:5] if c.probability >= LEAST_NAMED]
    rest = 1.0 - finding.unlisted_probability - sum(c.probability for c in shown)
    return shown, finding.species_count - len(shown), max(rest, 0.0)


def looked_at(finding: Finding) -> str:
    """What can be seen of the plant, in a sentence; "" where that was not given, or all of it can."""
    if finding.visible == PARTS:
        return ""
    there = ", ".join(SEEN[part] for part in finding.visible)
    gone = ", ".join(SEEN[part] for part in PARTS if part not in finding.visible)
    return f"Seen: {there}. Could not be seen: {gone}."


def photo_lines(finding: Finding) -> list[str]:
    """The notes on each photo, by the name of its file: uploads lie in folders of ours."""
    return [f"{Path(photo['file']).name}: {note}" for photo in finding.photos for note in photo["notes"]]


def override_lines(finding: Finding, key: Key) -> list[str]:
    """Why the answers overturned the photo: the outcome, then a line a reason."""
    over = finding.override
    if over is None:
        return []
    photo = key.flora.species[over.photo_said].common_name
    outside = over.answers_say == "unlisted"
    now = "a plant not on file" if outside else key.flora.species[over.answers_say].common_name
    undecided = finding.status == "undecided"
    outcome = f"the answers are against it, and {now} leads" if undecided else f"the answers say {now}"
    lines = [f"The photo looked like {photo}; {outcome}, because:"]
    for reason in over.reasons:
        value = tuple(reason["answered"]) if isinstance(reason["answered"], list) else reason["answered"]
        answer = question_and_answer(key, reason["character"], value)
        lines.append(f"{answer} {photo} would have shown: {reason['would_have_shown']}.")
    return lines


def question_and_answer(key: Key, character: str, answer: Answer) -> str:
    """A question with its answer."""
    return f"{key.flora.characters[character].question} {answer_text(key, character, answer)}."


def answer_text(key: Key, character: str, answer: Answer) -> str:
    """An answer in the words of its question."""
    question: Character = key.flora.characters[character]
    if isinstance(answer, tuple):
        return " and ".join(question.states[s] for s in answer) if answer else UNSURE
    if question.kind == "month":
        return month_name(int(answer))
    return f"{answer:g}" + (f" {question.unit}" if question.unit != "count" else "")


def month_name(month: int) -> str:
    """Name of a month, 1 to 12.

    >>> month_name(3)
    'March'
    """
    return calendar.month_name[month]


def progress(answers: Answers, finding: Finding) -> str:
    """How far an interview has come, in one line."""
    lead = finding.candidates[0]
    if lead.probability < LEAST_NAMED:
        return f"{len(answers)} answered; no plant stands out yet"
    return f"{len(answers)} answered; in front: {lead.common_name} {share(lead.probability)}"


def moment_text(moment: datetime | str) -> str:
    """A moment by the clock of this machine, with its zone; without a zone it is that already.

    >>> moment_text(datetime(2026, 7, 8, 18, 30))
    '8 July 2026, 18:30'
    """
    at = datetime.fromisoformat(moment) if isinstance(moment, str) else moment
    local = at.astimezone() if at.tzinfo is not None else at
    return f"{day_text(local.date())}, {local:%H:%M %Z}".rstrip()


def what_to_type(character: Character) -> list[str]:
    """What a number or a month may be; nothing for a list of states."""
    if character.kind == "month":
        return ["      a month, 1 to 12"]
    if character.domain is None:
        return []
    low, high = character.domain
    unit = f" {character.unit}" if character.unit != "count" else ""
    return [f"      a number from {low:g} to {high:g}{unit}"]


def possible_answers(character: Character) -> list[str]:
    """What may be answered to a question, a line each, as it is written in a file of answers."""
    return what_to_type(character) or [f"      {state}: {words}" for state, words in character.states.items()]


def photo_and_chance(finding: Finding, key: Key) -> str:
    """Why the photo's figure for a plant is far above the chance beside it; empty where it is not."""
    if not any((c.photo_probability or 0) - c.probability >= FAR_APART for c in shown_candidates(finding)[0]):
        return ""
    return (
        "The photo's figure compares only the plants that the photo model has learned; the chance is among all "
        f"{len(key.flora.species)} on file, and a photo alone proves little. Answers decide."
    )
