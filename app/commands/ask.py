"""The interview in the terminal: what can be seen, then one question at a time, with back, change, save and stop."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console

from app.present.finding import answer_text, photo_lines, progress
from app.present.identification import print_candidates, print_finding
from model.errors import AnswerError
from model.flora.character import PARTS, Character, Group
from model.interview import Interview
from model.traits import UNSURE, Visible, answers_text, check_visible

HELP = (
    "Type a number or a name to answer, several with commas; u unsure, b back, c change an answer, "
    "v change what can be seen, s save, q stop"
)
TO_SEE = {
    "leaves": "leaves, with stem, sap and smell",
    "flowers": "flowers, or a grass in head",
    "seeds": "ripe seed, burrs or fruit",
    "roots": "roots, bulbs or tubers, dug up",
}
LOOKED = "Numbers with commas, as in 1,4. Press Enter to skip this: anything may be asked then."


def hold_interview(interview: Interview, quiet_output: bool = False) -> Interview:
    """Ask what can be seen, then until the name is proven, nothing more is worth asking, or the person stops.

    Reads answers from standard input; its end counts as stop. With ``quiet_output`` all text
    goes to standard error. Returns the interview as it stood, nothing is lost.
    """
    console = Console(highlight=False, stderr=quiet_output)
    console.print(HELP, style="dim", markup=False)
    if interview.photos is not None:
        for line in photo_lines(interview.finding):
            console.print(line, markup=False)
        print_candidates(interview.finding, console)
    step: Interview | None = interview if interview.visible is not None else _see(console, interview)
    while step is not None:
        interview = step
        question = interview.question
        if question is None:
            break
        step = _ask_one(console, interview, question.character)
    console.print()
    print_finding(interview.finding, interview.key, interview.answers, console)
    return interview


def _see(console: Console, interview: Interview) -> Interview | None:
    """Ask what can be seen or reached; the interview with it, or None to stop."""
    console.print()
    console.print("What can you see or reach?", style="bold", markup=False)
    console.print(LOOKED, markup=False)
    _list(console, [TO_SEE[part] for part in PARTS])
    while True:
        typed = _read(console, "> ")
        if typed in ("q", None):
            return None
        if typed in ("", "u", UNSURE):
            return interview.see(None)
        try:
            return interview.see(_parts(typed))
        except AnswerError as error:
            console.print(str(error), style="red", markup=False)


def _parts(typed: str) -> Visible:
    names = [name.strip() for name in typed.split(",") if name.strip()]
    if not names:
        raise AnswerError(LOOKED)
    return check_visible([_picked(name, PARTS) if name.isdigit() else name for name in names])


def _ask_one(console: Console, interview: Interview, character: Character) -> Interview | None:
    """Put one question; the interview after it, or None to stop."""
    group: Group | None = None
    _put(console, interview, character)
    while True:
        typed = _read(console, "> ")
        try:
            match typed:
                case "q" | None:
                    return None
                case "b" if group is not None:
                    group = None
                    _put_choices(console, character)
                case "b":
                    return _back(console, interview)
                case "c":
                    return _change(console, interview)
                case "v":
                    return _see(console, interview)
                case "s":
                    _save(console, interview)
                case "":
                    console.print(HELP, style="dim", markup=False)
                case _ if character.groups and group is None and typed.replace(",", "").strip().isdigit():
                    group = _group(character, typed)
                    if len(group.states) == 1:
                        return interview.answer(character.id, group.states)
                    _put_choices(console, character, group)
                case _:
                    states = group.states if group is not None else list(character.states)
                    return interview.answer(character.id, understood(character, typed, states))
        except AnswerError as error:
            console.print(str(error), style="red", markup=False)


def _put(console: Console, interview: Interview, character: Character) -> None:
    console.print()
    console.print(progress(interview.answers, interview.finding), style="dim", markup=False)
    console.print(character.question, style="bold", markup=False)
    console.print(f"{character.look} {character.otherwise}", markup=False)
    if character.kind == "month":
        console.print("      a month, 1 to 12", markup=False)
    if character.domain is not None:
        low, high = character.domain
        unit = f" {character.unit}" if character.unit != "count" else ""
        console.print(f"      a number from {low:g} to {high:g}{unit}", markup=False)
    _put_choices(console, character)


def _put_choices(console: Console, character: Character, group: Group | None = None) -> None:
    """The groups of a long list, or the states of one of them, or all states of a short list."""
    if character.groups and group is None:
        _list(console, [one.text for one in character.groups.values()])
    else:
        states = group.states if group is not None else list(character.states)
        _list(console, [f"{character.states[state]}  ({state})" for state in states])
    if group is not None:
        console.print("   b  back to the groups", markup=False)
    console.print("   u  unsure", markup=False)


def _list(console: Console, lines: Sequence[str]) -> None:
    for number, line in enumerate(lines, start=1):
        console.print(f"  {number:>2}  {line}", markup=False)


def _group(character: Character, typed: str) -> Group:
    """The group whose number was typed. Raises AnswerError for none or several."""
    if not typed.isdigit():
        first, last = next(iter(character.states)), list(character.states)[-1]
        raise AnswerError(f"pick one group; for states of two groups type their names, as in {first}, {last}")
    return character.groups[_picked(typed, list(character.groups))]


def _picked(typed: str, names: Sequence[str]) -> str:
    """The name at a number of a list that begins with 1. Raises AnswerError."""
    if not 1 <= int(typed) <= len(names):
        raise AnswerError(f"{typed} is not in the list; type a number from 1 to {len(names)}")
    return names[int(typed) - 1]


def understood(character: Character, typed: str, states: Sequence[str]) -> object:
    """What was typed, as an answer: numbers count in the ``states`` that were listed, names in all states."""
    if typed in ("u", UNSURE):
        return UNSURE
    if character.kind != "choice":
        return typed
    parts = [part.strip() for part in typed.split(",") if part.strip()]
    return [_picked(part, states) if part.isdigit() else part for part in parts]


def _back(console: Console, interview: Interview) -> Interview:
    if not interview.answers:
        console.print("nothing is answered yet; v changes what can be seen", markup=False)
    return interview.back()


def _change(console: Console, interview: Interview) -> Interview:
    given = list(interview.answers)
    if not given:
        console.print("nothing is answered yet", markup=False)
        return interview
    characters = interview.key.flora.characters
    _list(console, [f"{characters[c].question}  {answer_text(interview.key, c, interview.answers[c])}" for c in given])
    typed = _read(console, "change which? > ")
    if typed is None or not typed.isdigit() or not 1 <= int(typed) <= len(given):
        console.print("nothing changed", markup=False)
        return interview
    return _ask_one(console, interview, characters[given[int(typed) - 1]]) or interview


def _save(console: Console, interview: Interview) -> None:
    name = _read(console, "save the answers to which file? > ")
    if not name:
        console.print("not saved", markup=False)
        return
    try:
        Path(name).expanduser().write_text(answers_text(interview.answers, interview.visible), encoding="utf-8")
    except OSError as error:
        console.print(f"{name}: cannot be written ({error.strerror}); name another file", style="red", markup=False)
        return
    console.print(f"saved to {name}; go on, or later: swardkey ask --answers {name}", markup=False)


def _read(console: Console, prompt: str) -> str | None:
    try:
        return console.input(prompt, markup=False).strip()
    except EOFError:
        return None
