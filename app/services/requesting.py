"""What to ask of whoever has the plant: a few questions, and photos that show the same (configs/wanted_photos.yaml)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

from model.at_once import questions_at_once
from model.errors import AnswerError
from model.flora.character import PARTS, Character, Part
from model.flora.load import CONFIGS, read_facts
from model.flora.species import Entry, Fact
from model.interview import Interview
from model.traits import Visible

MOST_PHOTOS = 3
WHOLE = "whole_plant"  # the photo that is asked for where none is there
NOTHING_TO_ASK = {
    "confirmed": "the name is confirmed; there is nothing to ask the sender",
    "unlisted": "no plant on file fits what was seen; ask the sender for a sample for a herbarium or weeds officer",
}
IF_THERE: dict[Part, str] = {
    "flowers": "If it is in flower",
    "seeds": "If it has ripe seed or fruit",
    "roots": "If you can dig one up, roots and all",
}


class WantedPhoto(Fact):
    """What a picture must show, and the characters that can be read off it."""

    photo: str
    shows: tuple[str, ...]


class WantedPhotos(Entry):
    """configs/wanted_photos.yaml."""

    photos: dict[str, WantedPhoto]
    unseen: tuple[str, ...]


@dataclass(frozen=True)
class Request:
    """``questions`` for the sender, one to four; ``photos`` in words, to stand after "a photo of".

    ``visible``: the parts that can be seen, None where that is not known and is asked first.
    """

    questions: tuple[Character, ...]
    photos: tuple[str, ...]
    visible: Visible | None = None

    @property
    def parts(self) -> tuple[Part, ...]:
        """What may be there, to be ticked first; () where it is known what can be seen."""
        return PARTS if self.visible is None else ()

    def if_there(self, question: Character) -> str:
        """On what condition a question is put, as it stands before a colon; "" where its part is known to be there."""
        return "" if question.part in (self.visible or ("leaves",)) else IF_THERE.get(question.part, "")


@cache
def load_wanted_photos() -> WantedPhotos:
    """Read configs/wanted_photos.yaml. Raises FloraError naming the field that is wrong."""
    return read_facts(CONFIGS / "wanted_photos.yaml", WantedPhotos)


def request_of(interview: Interview) -> Request:
    """What to ask of whoever has the plant. Raises AnswerError where nothing would help."""
    status = interview.finding.status
    questions = () if status in NOTHING_TO_ASK else questions_at_once(interview)
    if not questions:
        raise AnswerError(NOTHING_TO_ASK.get(status, "no question would help; ask the sender for a sample"))
    usable = interview.photos is not None and any(photo["usable"] for photo in interview.photos.photos)
    return Request(questions, photos_for(questions, usable), interview.visible)


def photos_for(questions: Iterable[Character], has_photo: bool) -> tuple[str, ...]:
    """The photos that show what is asked about, each once, at most three; of the whole plant first, without one."""
    wanted = load_wanted_photos().photos
    by_character = {name: view for view, one in wanted.items() for name in one.shows}
    views = [] if has_photo else [WHOLE]
    views += [by_character[question.id] for question in questions if question.id in by_character]
    return tuple(wanted[view].photo for view in dict.fromkeys(views))[:MOST_PHOTOS]
