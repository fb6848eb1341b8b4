"""The command `ask`: what can be seen, then one question at a time, with back, change, save and stop."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from rich.console import Console

from app.commands.identify import AnswersFile, Photos, Region, Visible
from app.commands.json_output import Json, print_json
from app.commands.options import AnyMonth, option
from app.present.deciding import finding_json
from app.present.finding import answer_text, photo_lines, progress, what_to_type
from app.present.identification import print_candidates, print_finding
from app.present.requested import change_json, what_changed
from app.services.home import expanded
from app.services.interview import answer_file, save_answers, see, start_interview
from app.services.reply import read_reply, reply_text, with_reply
from model.errors import AnswerError, StoppedError
from model.flora.character import PARTS, Character, Group
from model.interview import Interview
from model.traits import UNSURE

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
Reply = Annotated[
    str | None, option("TEXT|FILE|-", "The answer to a request: its text, a file with it, or - for standard input.")
]
HOW_TO_PICK = "Numbers with commas, as in 1,4. Press Enter to skip; then any part may be asked about."


def ask(
    photos: Photos = None,
    answers: AnswersFile = None,
    month: AnyMonth = None,
    region: Region = None,
    visible: Visible = None,
    reply: Reply = None,
    as_json: Json = False,
) -> None:
    """Ask in the terminal what can be seen, then one question at a time, until the name is confirmed.

    Examples:
        swardkey ask
        swardkey ask leaf.jpg --month july
    """
    start = start_interview(photos or (), answers, visible, month, region)
    # With --json, all that a person reads goes to standard error.
    console = Console(highlight=False, stderr=as_json)
    changed = {}
    if reply is not None:
        told = read_reply(reply_text(reply), start.key.flora.characters)
        before, start = start, with_reply(start, told)
        changed = {"reply": change_json(before, start)}
        for line in what_changed(told, before, start):
            console.print(line, markup=False)
    dialogue = Dialogue(console, start)
    try:
        end = dialogue.hold()
    except KeyboardInterrupt:
        raise StoppedError(dialogue.hand_back_answers()) from None
    if as_json:
        print_json({**finding_json(end.finding, end.key, end.answers), **changed})


class Dialogue:
    """An interview in the terminal. It reads answers from standard input, whose end counts as stop.

    ``interview`` is how it stands; each step replaces it, so that nothing is lost.
    """

    def __init__(self, console: Console, interview: Interview) -> None:
        self.console = console
        self.interview = interview

    def hold(self) -> Interview:
        """Ask what can be seen, then until the name is proven, nothing more is worth asking, or the person stops."""
        self._print(HELP, style="dim")
        if self.interview.photos is not None:
            finding = self.interview.finding
            self._print(*photo_lines(finding))
            print_candidates(finding, self.console)
        more = self.interview.visible is not None or self._ask_what_is_visible()
        while more and (question := self.interview.question) is not None:
            more = self._ask(question.character)
        self.console.print()
        print_finding(self.interview.finding, self.interview.key, self.interview.answers, self.console)
        return self.interview

    def hand_back_answers(self) -> str:
        """Print the answers so far, which nothing else holds; what is said of them after "stopped; "."""
        if not self.interview.answers:
            return "nothing was answered yet"
        self._print("", answer_file(self.interview).rstrip("\n"))
        return "the answers above are in no file; save them to one, and go on with swardkey ask --answers FILE"

    def _ask_what_is_visible(self) -> bool:
        """Ask what can be seen or reached; False to stop."""
        self.console.print()
        self._print("What can you see or reach?", style="bold")
        self._print(HOW_TO_PICK, *numbered([TO_SEE[part] for part in PARTS]))
        while True:
            typed = self._read()
            if typed in ("q", None):
                return False
            try:
                if typed in ("", "u", UNSURE):
                    self.interview = self.interview.see(None)
                else:
                    names = [name.strip() for name in str(typed).split(",") if name.strip()]
                    if not names:
                        raise AnswerError(HOW_TO_PICK)
                    parts = [picked(name, PARTS) if name.isdigit() else name for name in names]
                    self.interview = see(self.interview, parts)
                return True
            except AnswerError as error:
                self._print(str(error), style="red")

    def _ask(self, character: Character) -> bool:
        """Put one question until it is answered or left; False to stop."""
        self.console.print()
        self._print(progress(self.interview.answers, self.interview.finding), style="dim")
        self._print(character.question, style="bold")
        self._print(f"{character.look} {character.otherwise}", *what_to_type(character), *choices(character))
        group: Group | None = None
        while True:
            typed = self._read()
            try:
                match typed:
                    case "q" | None:
                        return False
                    case "b" if group is not None:
                        group = None
                        self._print(*choices(character))
                    case "b":
                        if not self.interview.answers:
                            self._print("nothing is answered yet; v changes what can be seen")
                        self.interview = self.interview.back()
                        return True
                    case "c":
                        return self._change()
                    case "v":
                        return self._ask_what_is_visible()
                    case "s":
                        self._save()
                    case "":
                        self._print(HELP, style="dim")
                    case _ if character.groups and group is None and typed.replace(",", "").strip().isdigit():
                        group = picked_group(character, typed)
                        if len(group.states) == 1:
                            return self._take(character, group.states)
                        self._print(*choices(character, group))
                    case _:
                        states = group.states if group is not None else list(character.states)
                        return self._take(character, understood(character, typed, states))
            except AnswerError as error:
                self._print(str(error), style="red")

    def _take(self, character: Character, given: object) -> bool:
        self.interview = self.interview.answer(character.id, given)
        return True

    def _change(self) -> bool:
        key, answers = self.interview.key, self.interview.answers
        if not answers:
            self._print("nothing is answered yet")
            return True
        asked = [key.flora.characters[c] for c in answers]
        self._print(*numbered([f"{c.question}  {answer_text(key, c.id, answers[c.id])}" for c in asked]))
        typed = self._read("change which? > ")
        if typed is None or not typed.isdigit() or not 1 <= int(typed) <= len(asked):
            self._print("nothing changed")
        else:
            self._ask(asked[int(typed) - 1])
        return True

    def _save(self) -> None:
        name = self._read("save the answers to which file? > ")
        if not name:
            self._print("not saved")
            return
        save_answers(self.interview, expanded(name))
        self._print(f"saved to {name}; continue, or later: swardkey ask --answers {name}")

    def _print(self, *lines: str, style: str = "") -> None:
        for line in lines:
            self.console.print(line, style=style, markup=False)

    def _read(self, prompt: str = "> ") -> str | None:
        try:
            return self.console.input(prompt, markup=False).strip()
        except EOFError:
            return None


def choices(character: Character, group: Group | None = None) -> list[str]:
    """The groups of a long list, or the states of one of them, or all states of a short list."""
    if character.groups and group is None:
        lines = numbered([one.text for one in character.groups.values()])
    else:
        states = group.states if group is not None else list(character.states)
        lines = numbered([f"{character.states[state]}  ({state})" for state in states])
    return [*lines, *(["   b  back to the groups"] if group is not None else []), "   u  unsure"]


def numbered(lines: Sequence[str]) -> list[str]:
    """Lines with numbers from 1."""
    return [f"  {number:>2}  {line}" for number, line in enumerate(lines, start=1)]


def picked(typed: str, names: Sequence[str]) -> str:
    """The name at a number of a list that begins with 1. Raises AnswerError."""
    if not 1 <= int(typed) <= len(names):
        raise AnswerError(f"{typed} is not in the list; type a number from 1 to {len(names)}")
    return names[int(typed) - 1]


def picked_group(character: Character, typed: str) -> Group:
    """The group whose number was typed. Raises AnswerError for none or several."""
    if not typed.isdigit():
        first, *_, last = character.states
        raise AnswerError(f"pick one group; for states of two groups type their names, as in {first}, {last}")
    return character.groups[picked(typed, list(character.groups))]


def understood(character: Character, typed: str, states: Sequence[str]) -> object:
    """What was typed, as an answer: numbers count in the ``states`` that were listed, names in all states."""
    if typed in ("u", UNSURE):
        return UNSURE
    if character.kind != "choice":
        return typed
    parts = [part.strip() for part in typed.split(",") if part.strip()]
    return [picked(part, states) if part.isdigit() else part for part in parts]
