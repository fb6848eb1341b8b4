"""Answers to the questions of the key: checked once, here, and then trusted."""

from __future__ import annotations

import calendar
import re
from collections.abc import Mapping
from pathlib import Path

from model.errors import AnswerError, FloraError, nearest
from model.flora.character import UNSURE, VISIBLE, Character, Visible
from model.flora.load import read_yaml
from model.traits.visible import check_visible

LONGEST_SHOWN = 60  # characters of the input, in a message
MILLIMETRES = {"mm": 1.0, "cm": 10.0, "m": 1000.0}
LARGEST = 1e300  # integers may be too large for a float
States = tuple[str, ...]
Answer = States | float
Answers = dict[str, Answer]

_MONTHS = {name.lower(): i for i, name in enumerate(calendar.month_name) if name}
_MONTHS |= {name.lower(): i for i, name in enumerate(calendar.month_abbr) if name}


def check_answer(character: Character, given: object) -> Answer:
    """Turn one given answer into a tuple of states or a number; ``()`` means unsure.

    Raises AnswerError with the character, what was given, and the nearest valid answer.

    >>> from model.flora import load_characters
    >>> check_answer(load_characters()["milky_sap"], "present")
    ('present',)
    """
    if given == UNSURE or given is None or (isinstance(given, list | tuple) and list(given) in ([], [UNSURE])):
        return ()
    if character.kind == "choice":
        return _states(character, given)
    return _number(character, given)


def _states(character: Character, given: object) -> States:
    named = set()
    for value in given if isinstance(given, list | tuple) else [given]:
        if not isinstance(value, str) or value not in character.states:
            kind = "a number, not a state" if isinstance(value, int | float) else "not one of its states"
            close = nearest(str(value)[:LONGEST_SHOWN], [*character.states, UNSURE])
            raise AnswerError(f"{character.id}: {_shown(value)} is {kind}; {close}")
        named.add(value)
    return tuple(state for state in character.states if state in named)


def _number(character: Character, given: object) -> float:
    value = _MONTHS.get(given.strip().lower(), given) if character.kind == "month" and isinstance(given, str) else given
    if isinstance(value, str):
        value = _in_unit(value, character.unit)
    low, high = character.domain or (1, 12)
    unit = f" {character.unit}" if character.unit not in (None, "count") else ""
    if isinstance(value, bool) or not isinstance(value, int | float) or value != value:
        raise AnswerError(
            f"{character.id}: {_shown(given)} is not a number; give one from {low:g} to {high:g}{unit}, or {UNSURE}"
        )
    if not low <= value <= high:
        shown = f"{value:g}" if abs(value) < LARGEST else "that number"
        raise AnswerError(f"{character.id}: {shown}{unit} is outside {low:g} to {high:g}{unit}; check the unit")
    if character.kind == "month" and value != int(value):
        raise AnswerError(f"{character.id}: {value:g} is not a month; give a whole number from 1 to 12")
    return float(value)


def _in_unit(text: str, unit: str | None) -> float | None:
    """A number that was typed as text, with a unit of length or without, in the character's unit; else None.

    >>> _in_unit("12 mm", "mm"), _in_unit("1.2cm", "mm"), _in_unit("12", "cm"), _in_unit("12 kg", "mm")
    (12.0, 12.0, 12.0, None)
    """
    found = re.fullmatch(r"\s*([0-9.]+)\s*(mm|cm|m)?\.?\s*", text, re.IGNORECASE)
    try:
        value = float(found[1] if found else text)
    except ValueError:
        return None
    if not found or not found[2]:
        return value
    return round(value * MILLIMETRES[found[2].lower()] / MILLIMETRES[unit], 9) if unit in MILLIMETRES else None


def _shown(given: object) -> str:
    """The input, as a message may repeat it."""
    text = repr(given)
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}..."


def check_answers(characters: Mapping[str, Character], given: Mapping[str, object]) -> Answers:
    """Check all answers. Raises AnswerError at the first unknown character or state."""
    answers = {}
    for key, value in given.items():
        if key not in characters:
            close = nearest(str(key)[:LONGEST_SHOWN], characters)
            raise AnswerError(f"{_shown(key)} is not a character of the key; {close}")
        answers[key] = check_answer(characters[key], value)
    return answers


def read_answers(path: Path, characters: Mapping[str, Character]) -> tuple[Answers, Visible | None]:
    """Read an answer file: YAML, `character: state`, `character: [state, state]` or a number; and `visible: [part]`.

    Returns the answers in the order of the file, and the parts that can be seen, None when it does not say.
    Raises AnswerError that names the file.
    """
    try:
        given = read_yaml(path)
    except FloraError as error:
        raise AnswerError(str(error)) from None
    except OSError as error:
        raise AnswerError(f"{path}: cannot be read ({error.strerror}); name a file of answers") from None
    if given is None:
        return {}, None
    if not isinstance(given, dict):
        kind = "a list" if isinstance(given, list) else "plain text"
        raise AnswerError(f"{path}: holds {kind}; write one `character: state` on each line")
    try:
        visible = check_visible(given.pop(VISIBLE)) if VISIBLE in given else None
        return check_answers(characters, given), visible
    except AnswerError as error:
        raise AnswerError(f"{path}: {error}") from None


def answers_text(answers: Answers, visible: Visible | None = None) -> str:
    """The answers in their order as YAML that read_answers reads.

    >>> print(answers_text({"milky_sap": ("absent",), "plant_height": 4.0, "ligule": ()}), end="")
    milky_sap: absent
    plant_height: 4
    ligule: unsure
    """
    lines = [f"{VISIBLE}: [{', '.join(visible)}]\n"] if visible is not None else []
    for key, value in answers.items():
        if isinstance(value, tuple):
            text = UNSURE if not value else value[0] if len(value) == 1 else f"[{', '.join(value)}]"
        else:
            text = f"{value:.12g}"
        lines.append(f"{key}: {text}\n")
    return "".join(lines)
