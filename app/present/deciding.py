"""Where a name is not proven: what is known all the same, why no more is asked, and what would decide, in words."""

from __future__ import annotations

from typing import Any

from app.present.block import Bullets, Paragraph, as_text
from model.decide import Decider
from model.identify import Finding, Key
from model.traits import Answers

KNOWN = 0.80  # share of what is probable that must agree on what is said of the plant
KINDS = {
    "grassy": "a grass or sedge",
    "strap": "a plant with strap-like leaves, probably from a bulb",
    "simple": "a broad-leaved plant",
    "three_leaflets": "a plant with three leaflets to a leaf",
    "feather": "a plant with feather-like leaves",
    "finely_cut": "a plant with finely cut leaves",
    "moss": "a moss",
    "none": "a crust or slime",
}
HABITS = {
    "rosette": "in a rosette",
    "mat": "in a flat mat",
    "creeping": "that creeps",
    "tuft": "in a tuft",
    "erect": "that stands upright",
    "sprawling": "that sprawls",
    "cushion": "in a soft cushion",
}
WHY = {
    "asked enough": "That is enough questions for now.",
    "too often unsure": "Several answers were unsure, so more questions would not help now.",
    "nothing left": "No remaining question would tell more.",
}
PARTS = {
    "leaves": "the leaves and stem",
    "flowers": "the flowers",
    "seeds": "the ripe seed or fruit",
    "roots": "the roots",
}
ONCE = {"leaves": "Once it is in leaf", "flowers": "Once it flowers", "seeds": "Once it has ripe seed or fruit"}


def known_so_far(finding: Finding, key: Key, answers: Answers) -> str:
    """What can be said of the plant without a name, "" where that is nothing.

    >>> from model.identify import identify
    >>> key = Key()
    >>> answers = {"leaf_build": ("simple",), "growth_habit": ("rosette",)}
    >>> known_so_far(identify(key, answers), key, answers)
    'a broad-leaved plant in a rosette'
    """
    kind, habit = _agreed("leaf_build", finding, key, answers), _agreed("growth_habit", finding, key, answers)
    if kind not in KINDS:
        return ""
    return f"{KINDS[kind]} {HABITS[habit]}" if habit in HABITS else KINDS[kind]


def _agreed(character: str, finding: Finding, key: Key, answers: Answers) -> str:
    """The state that was answered, or that nearly all that is probable shows; "" where there is none."""
    given = answers.get(character, ()) if character not in finding.set_aside else ()
    if isinstance(given, tuple) and given:
        return given[0] if len(given) == 1 else ""
    table = key.likelihoods.tables[character]
    shares = sum(c.probability * table.truth[key.index[c.species]] for c in finding.candidates)
    best = int(shares.argmax())
    return str(table.answers[best]) if shares[best] >= KNOWN else ""


def why_stopped(finding: Finding) -> str:
    """Why no more is asked, "" while something is, or where the name is proven."""
    return WHY.get(finding.stop or "", "")


def decider_line(decider: Decider, key: Key) -> str:
    """One thing that would decide, as a request."""
    character = key.flora.characters[decider.character]
    match decider.how:
        case "dig":
            start = "Dig one up, roots and all"
        case "wait":
            # Hardly ever needed, and the advice that it comes with would slow the start of every command.
            from model.control.year import spans

            start = ONCE[decider.part] + (f" ({spans(decider.months)})" if decider.months else "")
        case "photo":
            start = f"Send a close, sharp photo of {PARTS[decider.part]}"
        case _:
            start = f"Look closely at {PARTS[decider.part]}"
    return f"{start}: {character.question} {character.look}"


def decider_lines(finding: Finding, key: Key) -> list[str]:
    """What would decide, most telling first; empty while there is a question to ask."""
    return [decider_line(decider, key) for decider in finding.would_decide]


def message(finding: Finding, key: Key, answers: Answers) -> str:
    """A text for whoever has the plant: what would help; "" where nothing would. It names no plant."""
    lines = tuple(decider_lines(finding, key))
    if not lines:
        return ""
    known = known_so_far(finding, key, answers)
    so_far = [f"So far I know that it is {known}."] if known else []
    thanks = Paragraph(("Thanks for sending this in.", *so_far, "I cannot name it for certain yet."))
    ask = "Any one of these would help most:" if len(lines) > 1 else "This would help most:"
    return as_text((thanks, Paragraph((ask,)), Bullets(lines)))


def stopped(finding: Finding, key: Key, answers: Answers) -> dict[str, Any]:
    """Where no more is asked: why, what is known all the same, and what would decide."""
    lost = finding.status == "unlisted"
    return {
        "why": why_stopped(finding),
        "known": known_so_far(finding, key, answers),
        "decide": [] if lost else decider_lines(finding, key),
    }


def finding_json(finding: Finding, key: Key, answers: Answers) -> dict[str, Any]:
    """The Finding as its ``as_json`` gives it, with what only the key and the answers can tell.

    ``answers``: in the order in which they were given, each ``{"character": id, "answer": value}``, the value a list
    of states, empty for unsure, or a number in the character's unit. ``known``: what can be said without a name;
    ``message``: a text for whoever has the plant, "" where nothing is wanted of it. Each of ``would_decide`` gets its
    question as ``text`` and where to look as ``look``.
    """
    data = finding.as_json()
    for decider in data["would_decide"]:
        character = key.flora.characters[decider["character"]]
        decider |= {"text": character.question, "look": character.look}
    data["answers"] = [{"character": name, "answer": value} for name, value in answers.items()]
    return {**data, "known": known_so_far(finding, key, answers), "message": message(finding, key, answers)}
