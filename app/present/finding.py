"""What a Finding says, in sentences: shared by the terminal and the web page."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from model.flora.character import PARTS, Character
from model.identify import CONFIRMED, LEADS, Candidate, Finding, Key
from model.traits import UNSURE, Answers
from model.traits.answers import Answer

LEAST_NAMED = 0.10  # a plant that is less probable is not put forward by name
SEEN = {"leaves": "leaves", "flowers": "flowers", "seeds": "seed or fruit", "roots": "roots"}
NEVER_PHOTOGRAPHED = "never photographed: the photo model has not learned it"  # of candidates beside a photo


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


def headline(finding: Finding, key: Key) -> str:
    """The finding in one or two sentences."""
    if finding.status == "unlisted":
        return (
            "Not in the flora: no listed plant explains this "
            f"({share(finding.unlisted_probability)}). Collect a sample and ask a herbarium or weeds officer."
        )
    if finding.species is None or finding.probability is None:
        relative = finding.relative_probability
        if relative is not None and relative >= LEADS:
            like = key.flora.species[finding.candidates[0].species].common_name
            return (
                f"Undecided: it is like {like}, but the answers point to a plant that is not in the flora "
                f"({share(relative)}). Collect a sample and ask a herbarium or weeds officer."
            )
        further = "" if finding.next_question is None else " Answer the next question."
        return f"Undecided: there is not enough yet to name it.{further}"
    plant = key.flora.species[finding.species]
    name = f"{plant.common_name} ({plant.scientific_name}), {share(finding.probability)}"
    if finding.status == "confirmed":
        return (
            f"Confirmed: {name}. The answers rule out every look-alike in the flora, "
            "and fit it too closely for a relative that is not listed."
        )
    others = [*(key.flora.species[s].common_name for s in finding.still_to_exclude), *finding.outside_to_exclude]
    left = f" Still to be told apart from: {', '.join(others)}." if others else f" Not yet proven.{_relative(finding)}"
    return f"Likely: {name}.{left}{_hangs_on(finding, key)}"


def _relative(finding: Finding) -> str:
    relative = finding.relative_probability
    if relative is None or relative <= 1 - CONFIRMED:
        return ""
    return f" It may still be a relative that is not in the flora ({share(relative)})."


def _hangs_on(finding: Finding, key: Key) -> str:
    if finding.hangs_on is None:
        return ""
    return f" It hangs on one answer: {key.flora.characters[finding.hangs_on].question}"


def shown_candidates(finding: Finding, most: int = 5, least: float = LEAST_NAMED) -> tuple[list[Candidate], int, float]:
    """The candidates worth a line of their own; how many others there are, and their share together.

    Returns no more than ``most``, each of ``least`` or more: none where no plant is that probable.
    """
    shown = [c for c in finding.candidates[:most] if c.probability >= least]
    rest = 1.0 - finding.unlisted_probability - sum(c.probability for c in shown)
    return shown, finding.species_count - len(shown), max(rest, 0.0)


def looked_at(finding: Finding) -> str:
    """What can be seen of the plant, in a sentence; "" where nobody told, or all of it can."""
    if finding.visible == PARTS:
        return ""
    there = ", ".join(SEEN[part] for part in finding.visible)
    gone = ", ".join(SEEN[part] for part in PARTS if part not in finding.visible)
    return f"Looked at: {there}. Not there to look at: {gone}."


def photo_lines(finding: Finding) -> list[str]:
    """What there is to say about each photo, by the name of its file: uploads lie in folders of ours."""
    return [f"{Path(photo['file']).name}: {note}" for photo in finding.photos for note in photo["notes"]]


def override_lines(finding: Finding, key: Key) -> list[str]:
    """Why the answers overturned the photo, one line a reason."""
    if finding.override is None:
        return []
    over = finding.override
    photo = key.flora.species[over.photo_said].common_name
    now = (
        key.flora.species[over.answers_say].common_name
        if over.answers_say != "unlisted"
        else "a plant outside the flora"
    )
    settled = finding.status in ("confirmed", "likely", "unlisted")
    turn = f"the answers say {now}" if settled else f"the answers are against it, and {now} leads"
    lines = [f"The photo looked like {photo}; {turn}, because:"]
    for reason in over.reasons:
        character = key.flora.characters[reason["character"]]
        value = tuple(reason["answered"]) if isinstance(reason["answered"], list) else reason["answered"]
        lines.append(
            f"  {character.question} {answer_text(key, character.id, value)}. "
            f"{photo} would have shown: {reason['would_have_shown']}."
        )
    return lines


def answer_text(key: Key, character: str, answer: Answer) -> str:
    """An answer in the words of its question."""
    question: Character = key.flora.characters[character]
    if isinstance(answer, tuple):
        return " and ".join(question.states[s] for s in answer) if answer else UNSURE
    if question.kind == "month":
        return month_name(int(answer))
    return f"{answer:g}" + (f" {question.unit}" if question.unit != "count" else "")


def answer_in_full(key: Key, character: str, answer: Answer) -> str:
    """What was answered to what, short enough for a list of reasons."""
    return f"{character.replace('_', ' ')}: {answer_text(key, character, answer)}"


def month_name(month: int) -> str:
    """Name of a month, 1 to 12.

    >>> month_name(3)
    'March'
    """
    import calendar

    return calendar.month_name[month]


def progress(answers: Answers, finding: Finding) -> str:
    """How far an interview has come, in one line."""
    asked = len(answers)
    lead = finding.candidates[0]
    if lead.probability < LEAST_NAMED:
        return f"{asked} answered; nothing in front yet"
    return f"{asked} answered; in front: {lead.common_name} {share(lead.probability)}"


def day_text(day: date) -> str:
    """A day as people write it.

    >>> day_text(date(2026, 6, 9))
    '9 June 2026'
    """
    return f"{day.day} {day:%B %Y}"
