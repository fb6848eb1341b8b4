"""The short text that comes back from whoever has the plant: read, checked, and put into the interview.

``swardkey 1: leaf-edge/toothed, petal-length/6.5, see/leaves+flowers, sign/k7q2``. Only letters, digits and ``/+.,``
count, so that line breaks, quoting marks, hyphenation and capitals that mail and messengers add do no harm. The sign is
made of all that stands before it (app/papers/reply_sheet.js does the same), so that a text that is cut or altered is
noticed. There is nothing about the person in it.
"""

from __future__ import annotations

import re
import sys
import unicodedata
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from app.services.home import expanded
from model.errors import AnswerError
from model.flora.character import PARTS, Character
from model.interview import Interview
from model.traits import UNSURE, Answers, Visible, check_answer

NAME, VERSION = "swardkey", 1
SEE = "see"  # what can be seen, beside the characters
DIGITS = "0123456789abcdefghjkmnpqrstvwxyz"  # of a sign, without those that look alike
SIGN = 4  # their number
LONGEST = 20_000  # characters of a mail that holds a reply
MOST = 12  # items
_NOISE = re.compile(r"[^a-z0-9/+.,]")
_ITEM = "[a-z][a-z0-9]{0,39}/[a-z0-9.+]{0,299},"
_REPLY = re.compile(rf"{NAME}(\d{{1,3}})((?:{_ITEM}){{1,{MOST}}})sign/([{DIGITS}]{{{SIGN}}})")
AGAIN = "ask the sender to copy the text again and send it as it is"


@dataclass(frozen=True)
class Reply:
    """The answers of the sender in their order, ``()`` for unsure; and what can be seen, None where not asked."""

    answers: Answers
    visible: Visible | None = None


def reply_text(given: str) -> str:
    """The text of a reply: ``given`` itself, or the file of that name, or - for standard input. Raises AnswerError."""
    try:
        if given == "-":
            return sys.stdin.read(LONGEST + 1)
        path = expanded(given)
        if len(given) < LONGEST and path.is_file():
            with path.open(encoding="utf-8-sig", errors="replace") as file:
                return file.read(LONGEST + 1)
    except (OSError, ValueError) as error:
        if NAME not in given.lower():
            raise AnswerError(f"{given[:60]}: cannot be read ({error}); give the text of the reply itself") from None
    if NAME not in given.lower():
        raise AnswerError(f"{given[:60]}: is no file and no reply; a reply begins with {NAME} {VERSION}")
    return given


def read_reply(text: str, characters: Mapping[str, Character]) -> Reply:
    """The reply in a text, whatever stands around it. Raises AnswerError in one sentence that says what to do."""
    if len(text) > LONGEST:
        raise AnswerError(f"the reply is over {LONGEST} characters long; give only the part that begins with swardkey")
    plain = _NOISE.sub("", unicodedata.normalize("NFKC", text).lower())
    found = {match.groups() for match in _REPLY.finditer(plain)}
    sound = {body for version, body, sign in found if version == str(VERSION) and sign == sign_of(body)}
    if any(version != str(VERSION) for version, *_ in found):
        raise AnswerError("the reply was made by another version of swardkey; update this one, or ask again with it")
    if len(sound) > 1:
        raise AnswerError("the text holds two different replies; give one of them")
    if not sound:
        whole = "is cut off, or was altered on its way" if re.search(rf"{NAME}\d", plain) else "does not hold a reply"
        raise AnswerError(f"the text {whole} (a reply begins with swardkey {VERSION}); {AGAIN}")
    return _checked(sound.pop(), characters)


def _checked(body: str, characters: Mapping[str, Character]) -> Reply:
    """The answers of a sound reply. Raises AnswerError for what is not on file here."""
    by_name = {letters(name): character for name, character in characters.items()}
    answers: Answers = {}
    visible: Visible | None = None
    for item in body.rstrip(",").split(","):
        name, _, value = item.partition("/")
        if name == SEE and visible is None:
            visible = tuple(part for part in PARTS if part in value.split("+")) or None
        elif (character := by_name.get(name)) is not None and character.id not in answers:
            states = {letters(state): state for state in character.states}
            named = [states.get(one, one) for one in value.split("+")]
            unsure = value == UNSURE
            answers[character.id] = check_answer(
                character, UNSURE if unsure else named if character.kind == "choice" else value
            )
        else:
            raise AnswerError(f"the reply answers {name[:40]!r}, which is not asked here or is there twice; {AGAIN}")
    return Reply(answers, visible)


def sign_of(body: str) -> str:
    """The sign of the items before it, all noise gone.

    >>> sign_of("leafedge/toothed,")
    '1xd5'
    """
    crc = zlib.crc32(body.encode())
    return "".join(DIGITS[crc >> (5 * place) & 31] for place in range(SIGN))


def letters(name: str) -> str:
    """An id as it counts in a reply.

    >>> letters("leaf_edge")
    'leafedge'
    """
    return name.replace("_", "")


def with_reply(interview: Interview, reply: Reply) -> Interview:
    """The interview with the answers of whoever has the plant, which replace other ones; unsure replaces none.

    What was answered about, or ticked, can be seen.
    """
    characters, before = interview.key.flora.characters, interview.answers
    told = {c: answer for c, answer in reply.answers.items() if answer != () or c not in before}
    answered = {characters[c].part for c, answer in reply.answers.items() if answer != ()}
    visible = interview.visible
    if visible is not None:
        visible = parts_of({*visible, *answered, *(reply.visible or ())})
    elif reply.visible is not None:
        counted = {characters[c].part for c, answer in before.items() if answer != ()}
        visible = parts_of({*counted, *answered, *reply.visible})
    return replace(interview, answers={**before, **told}, visible=visible)


def parts_of(there: Iterable[str]) -> Visible:
    """Parts in their usual order."""
    found = set(there)
    return tuple(part for part in PARTS if part in found)
