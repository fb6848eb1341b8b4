"""The interview in the terminal: one question at a time, with back, change, save and stop."""

from __future__ import annotations

from pathlib import Path

from rich.console import Console

from app.show import candidates_table, print_finding
from app.words import answer_text, photo_lines, progress
from model.errors import AnswerError
from model.flora.character import Character
from model.interview import Interview
from model.traits import UNSURE, answers_text

HELP = "number or text to answer; several numbers with commas; u unsure, b back, c change an answer, s save, q stop"


def hold_interview(interview: Interview, quiet_output: bool = False) -> Interview:
    """Ask until the name is proven, the questions run out, or the person stops.

    Reads answers from standard input; its end counts as stop. With ``quiet_output`` all text
    goes to standard error. Returns the interview as it stood, nothing is lost.
    """
    console = Console(highlight=False, stderr=quiet_output)
    console.print(HELP, style="dim", markup=False)
    if interview.photos is not None:
        for line in photo_lines(interview.finding):
            console.print(line, markup=False)
        console.print(candidates_table(interview.finding))
    while (question := interview.question) is not None:
        step = _ask_one(console, interview, question.character)
        if step is None:
            break
        interview = step
    print_finding(interview.finding, interview.key, interview.answers, console)
    if question is None and interview.finding.status != "confirmed":
        console.print(
            "No question is left that would tell more. Collect a sample, or take closer photos.", markup=False
        )
    return interview


def _ask_one(console: Console, interview: Interview, character: Character) -> Interview | None:
    """Put one question; the interview after it, or None to stop."""
    _put(console, interview, character)
    while True:
        typed = _read(console, "> ")
        try:
            match typed:
                case "q" | None:
                    return None
                case "b":
                    return interview.back()
                case "c":
                    return _change(console, interview)
                case "s":
                    _save(console, interview)
                case "":
                    console.print(HELP, style="dim", markup=False)
                case _:
                    return interview.answer(character.id, understood(character, typed))
        except AnswerError as error:
            console.print(str(error), style="red", markup=False)


def _put(console: Console, interview: Interview, character: Character) -> None:
    console.print()
    console.print(progress(interview.answers, interview.finding), style="dim", markup=False)
    console.print(character.question, style="bold", markup=False)
    console.print(f"{character.look} {character.otherwise}", markup=False)
    for number, (state, label) in enumerate(character.states.items(), start=1):
        console.print(f"  {number:>2}  {label}  ({state})", markup=False)
    if character.kind == "month":
        console.print("      a month, 1 to 12", markup=False)
    if character.domain is not None:
        console.print(
            f"      a number from {character.domain[0]:g} to {character.domain[1]:g}, {character.unit}", markup=False
        )
    console.print("   u  unsure", markup=False)


def understood(character: Character, typed: str) -> object:
    """What was typed, as an answer: numbers of the list become its states."""
    if typed in ("u", UNSURE):
        return UNSURE
    if character.kind != "choice":
        return typed
    states = list(character.states)
    parts = [part.strip() for part in typed.split(",") if part.strip()]
    named: list[str] = []
    for part in parts:
        if not part.isdigit():
            named.append(part)
        elif 1 <= int(part) <= len(states):
            named.append(states[int(part) - 1])
        else:
            raise AnswerError(f"{part} is not in the list; type a number from 1 to {len(states)}")
    return named


def _change(console: Console, interview: Interview) -> Interview:
    given = list(interview.answers)
    if not given:
        console.print("nothing is answered yet", markup=False)
        return interview
    for number, character in enumerate(given, start=1):
        console.print(
            f"  {number:>2}  {character}: {answer_text(interview.key, character, interview.answers[character])}",
            markup=False,
        )
    typed = _read(console, "change which? > ")
    if typed is None or not typed.isdigit() or not 1 <= int(typed) <= len(given):
        console.print("nothing changed", markup=False)
        return interview
    character = interview.key.flora.characters[given[int(typed) - 1]]
    return _ask_one(console, interview, character) or interview


def _save(console: Console, interview: Interview) -> None:
    name = _read(console, "save the answers to which file? > ")
    if not name:
        console.print("not saved", markup=False)
        return
    try:
        Path(name).expanduser().write_text(answers_text(interview.answers), encoding="utf-8")
    except OSError as error:
        console.print(f"{name}: cannot be written ({error.strerror}); name another file", style="red", markup=False)
        return
    console.print(f"saved to {name}; go on, or later: swardkey ask --answers {name}", markup=False)


def _read(console: Console, prompt: str) -> str | None:
    try:
        return console.input(prompt, markup=False).strip()
    except EOFError:
        return None
