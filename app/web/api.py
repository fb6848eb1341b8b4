"""The API for other programs: `identify` and `advise`, as gradio_client calls them, with the JSON of the commands."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Annotated, Any

import gradio as gr
from pydantic import Field, TypeAdapter, ValidationError

from app.present.deciding import finding_json
from app.services import advice
from app.services.interview import start_interview
from app.web.context import Context
from app.web.uploads import Uploads, remove_upload
from model.control import Case
from model.errors import PhotoError, SwardkeyError
from model.flora.name import MOST_WORDS
from model.validation import first_cause

Json = dict[str, Any]
PHOTOS = TypeAdapter(list[Json])
ANSWERS = TypeAdapter(Json)
MONTH = TypeAdapter(Annotated[int, Field(ge=1, le=12)] | None)
Word = Annotated[str, Field(max_length=100)]
NAMES = TypeAdapter(Annotated[list[Word], Field(max_length=MOST_WORDS)])
WORDS = TypeAdapter(dict[str, Word | None])


def add(context: Context, uploads: Uploads) -> None:
    """Add the API to the blocks that are being built. What is wrong with a call comes back as one sentence."""

    def identify(photos: list[Json], answers: Json, month: int | None = None) -> Json:
        """Name a plant from photos, as `handle_file` gives them, and answers: the JSON of `swardkey identify`."""
        return _answer(context, lambda: _identify(uploads, photos, answers, month))

    def advise(
        species: list[str],
        month: int,
        lawn: str = "unknown",
        place: str = "lawn",
        cover: float | None = None,
        stage: str | None = None,
        state: str | None = None,
        used: list[int] | None = None,
        near: list[str] | None = None,
        cultivar: str | None = None,
        together: bool = False,
    ) -> Json:
        """Say what to do about a weed, or all that it may be, on a lawn in a month: the JSON of `swardkey advise`.

        ``together``: all these weeds grow there, each name meaning one plant; one plan for them side by side.
        """
        case = {"month": month, "lawn": lawn, "place": place, "cover": cover, "stage": stage, "state": state}
        case |= {"used": used, "near": near, "cultivar": cultivar, "together": together}
        return _answer(context, lambda: _advise(species, case))

    gr.api(identify)
    gr.api(advise)


def _answer(context: Context, work: Callable[[], Json]) -> Json:
    context.wait_until_ready()
    try:
        return work()
    except ValidationError as error:
        raise gr.Error(first_cause(error), print_exception=False) from None
    except SwardkeyError as error:
        raise gr.Error(str(error), print_exception=False) from None


def _identify(uploads: Uploads, photos: Any, answers: Any, month: Any) -> Json:
    photos, month = PHOTOS.validate_python(photos), MONTH.validate_python(month)
    answers = ANSWERS.validate_python(answers)
    files: list[Path] = []
    try:
        files += (uploads.claim(photo.get("path"), photo.get("orig_name")) for photo in photos)
        interview = start_interview(files, answers, month=month)
    except PhotoError as error:
        why = str(error)
        for file in files:
            why = why.replace(str(file), file.name)
        raise PhotoError(why) from None
    finally:
        for file in files:
            remove_upload(file)
    found = finding_json(interview.finding, interview.key, interview.answers)
    for shown in found["photos"]:
        shown["file"] = Path(shown["file"]).name
    return found


def _advise(species: Any, given: Mapping[str, Any]) -> Json:
    WORDS.validate_python({name: given.get(name) for name in ("lawn", "cultivar", "place", "stage", "state")})
    known = {name: value for name, value in given.items() if value is not None}
    case = vars(TypeAdapter(Case).validate_python({**known, "species": ()}))
    circumstances = {name: value for name, value in case.items() if name not in ("species", "labels")}
    made, control = advice.advise(NAMES.validate_python(species), **circumstances)
    return made.as_json(control)
