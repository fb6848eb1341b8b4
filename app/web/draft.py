"""The draft of one plant: all that its visitor has entered so far, saved at every step under an unguessable id."""

from __future__ import annotations

import re
import secrets
import shutil
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from threading import Lock
from typing import Any, Literal

from pydantic import TypeAdapter, ValidationError

from app.records import RecordsError, open_records
from app.services.home import home, why_unsaved
from model.errors import SwardkeyError
from model.flora.character import PARTS, Part

Way = Literal["name", "known", "check", "sums"]  # name a weed; advice on a known one; spray check; sums
MOST_UNSAVED = 200  # plants
ID = re.compile(r"[A-Za-z0-9_-]{22}")


class DraftError(SwardkeyError):
    """A draft cannot be read or saved. The message says what to do."""


@dataclass(frozen=True)
class Step:
    """A step of the path, ``STEP`` of a module NAME_page with the template NAME.html; app.web.steps finds them all.

    ``order``: steps stand in this order, with gaps for others. ``stops``: a plant that would pass the step for the
    first time stops at it.
    """

    title: str
    order: float
    stops: bool = False


@dataclass(frozen=True)
class Shot:
    """One photo: ``file`` lies in the draft's folder, ``thumb`` beside it.

    ``faults`` were found in the picture; ``notes`` are these and what the photo model has to say.
    """

    name: str
    thumb: str
    file: str = ""
    usable: bool = True
    faults: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Choosing:
    """An answer that takes more than one tap, half given: to which ``character``, from which ``group`` of states.

    ``several``: the plant shows more than one state; ``ticked`` are those of other groups that it shows too.
    """

    character: str = ""
    group: str = ""
    several: bool = False
    ticked: tuple[str, ...] = ()


@dataclass(frozen=True)
class Draft:
    """What is known of one plant so far. ``evidence`` is what ``model`` said of the photos; ``furthest`` the last step.

    ``visible`` are the parts that can be seen or reached, None until that is answered. ``answers`` keep the order in
    which they were given. ``taken`` is the day of the first photo that tells its own, as YYYY-MM-DD. ``asking`` is a
    question that is asked again, ``choosing`` an answer that is half given. ``lawn``, ``weather``, ``sums`` and
    ``record`` hold what was typed, as it was typed, so that it is there again after a reload.
    """

    id: str
    step: str = "photos"
    furthest: int = 0
    shots: tuple[Shot, ...] = ()
    evidence: Mapping[str, Any] | None = None
    model: str = ""
    month: int | None = None
    taken: str = ""
    visible: tuple[Part, ...] | None = None
    answers: Mapping[str, Any] = field(default_factory=dict)
    asking: str = ""
    choosing: Choosing = Choosing()
    lawn: Mapping[str, Any] = field(default_factory=dict)
    choice: str = ""
    weather: Mapping[str, Any] = field(default_factory=dict)
    forecast: str = ""
    sums: Mapping[str, Any] = field(default_factory=dict)
    record: Mapping[str, Any] = field(default_factory=dict)
    way: Way = "name"  # what the person came for
    given: tuple[str, ...] = ()  # plants that the person named, without photos or questions
    called: str = ""  # the plant, in words, once a plan was made
    of_visit: int = 0  # the kept visit that this is a further plan or spray of
    together: bool = False  # all of ``given`` grow there

    def at(self, step: str) -> Draft:
        """The draft at another step; a question that is asked again or half answered is left as it was."""
        return replace(self, step=step, asking="", choosing=Choosing())

    def as_json(self) -> dict[str, Any]:
        """As plain data; the answers as pairs, since the record book stores mappings with sorted keys."""
        answers = [[c, list(a) if isinstance(a, tuple) else a] for c, a in self.answers.items()]
        return asdict(self) | {"answers": answers}


def new_id() -> str:
    """An id that no one can guess: 128 bits."""
    return secrets.token_urlsafe(16)


_reader = TypeAdapter(Draft)


def draft_of(data: Mapping[str, Any]) -> Draft:
    """A draft from plain data; fields of another version are left out. Raises DraftError."""
    try:
        visible = data.get("visible")
        found = {**data, "answers": _answers(data.get("answers", ()))}
        found["visible"] = None if visible is None else tuple(part for part in PARTS if part in visible)
        return _reader.validate_python(found)
    except (ValidationError, TypeError, ValueError, AttributeError):
        raise DraftError("this saved plant can no longer be read; start again") from None


def _answers(kept: Any) -> dict[str, Any]:
    """Answers in their order: kept as pairs, and by older versions as a mapping."""
    pairs = kept.items() if isinstance(kept, Mapping) else kept
    return {str(c): tuple(a) if isinstance(a, list | tuple) else float(a) for c, a in pairs}


class Drafts:
    """The drafts of this machine, in the records; photos lie in a folder for each until they go to a visit.

    Where nothing can be saved they are only remembered, until it can be: a weed is named all the same. Their photos
    then lie in ``elsewhere``, a folder on another disk that goes when the program ends.
    """

    def __init__(self, folder: Path | None = None, elsewhere: Path | None = None) -> None:
        self.folder = folder or home() / "drafts"
        self.elsewhere = elsewhere
        self._unsaved: dict[str, Draft] = {}
        self._locks = [Lock() for _ in range(64)]

    def lock(self, plant: str) -> Lock:
        """The lock under which a draft is changed, so that two pages of one plant do not write at once."""
        return self._locks[hash(plant) % len(self._locks)]

    def read(self, plant: str) -> Draft | None:
        """The draft of an id, None where there is none. Raises DraftError where it cannot be read."""
        if not ID.fullmatch(plant):
            return None
        if plant in self._unsaved:
            return self._unsaved[plant]
        with open_records() as records:
            try:
                found = records.draft(plant)
            except RecordsError:
                return None
        return draft_of(found.state)

    def save(self, draft: Draft) -> None:
        """Keep a draft, whole or not at all. Raises RecordsError where that cannot be."""
        try:
            with open_records() as records:
                records.save_draft(draft.as_json(), draft.id)
        except RecordsError:
            if not why_unsaved():
                raise
            self._unsaved[draft.id] = draft
            for plant in [*self._unsaved][:-MOST_UNSAVED]:
                self._unsaved.pop(plant, None)
        else:
            if self._unsaved.pop(draft.id, None) and self.elsewhere:
                with suppress(OSError):  # they are found where they lie
                    shutil.move(self.elsewhere / draft.id, self.folder / draft.id)

    def photos(self, plant: str) -> Path:
        """The folder of a plant's photos. Raises DraftError for what is no id."""
        if not ID.fullmatch(plant):
            raise DraftError("that is not the address of a saved plant; start a new one")
        kept = self.folder / plant
        if self.elsewhere and ((self.elsewhere / plant).exists() or (why_unsaved() and not kept.exists())):
            return self.elsewhere / plant
        return kept
