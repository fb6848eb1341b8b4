"""What a visit keeps: its photos, what was found and what was planned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any

from pydantic import Field, SerializerFunctionWrapHandler, model_serializer, model_validator

from app.records.fields import Sha256, Strict, Text
from model.flora.character import VISIBLE, Visible


@dataclass(frozen=True)
class KeptPhoto(Strict):
    """A photo of a visit: upright pixels without metadata, in the file that ``sha256`` names."""

    visit: int
    sha256: Sha256
    shows: Text = ""
    id: int = 0


@dataclass(frozen=True)
class KeptFinding(Strict):
    """A Finding as its ``as_json`` gave it, and who confirmed the name and when.

    ``answers`` in the order in which they were given; ``visible`` the parts that could be seen, None where
    that was not given. Both are stored together, as a list of pairs.
    """

    visit: int
    finding: dict[str, Any]
    status: Text
    species: Text | None = None
    probability: Annotated[float, Field(ge=0, le=1)] | None = None
    answers: dict[str, Any] = field(default_factory=dict)
    visible: Visible | None = None
    confirmed_by: Text = ""
    confirmed_at: Text = ""
    id: int = 0

    @model_validator(mode="before")
    @classmethod
    def _from_storage(cls, given: Any) -> Any:
        """What can be seen is a field of its own here, and the first of the answers in the book."""
        if not isinstance(given, dict) or "answers" not in given:
            return given
        answers = from_pairs(given["answers"])
        visible = {VISIBLE: answers.pop(VISIBLE)} if VISIBLE in answers else {}
        return {**given, "answers": answers, **visible}

    @model_serializer(mode="wrap")
    def _to_storage(self, write: SerializerFunctionWrapHandler) -> dict[str, Any]:
        data: dict[str, Any] = write(self)
        visible = data.pop("visible")
        return {**data, "answers": in_pairs(data["answers"], visible)}


@dataclass(frozen=True)
class KeptPlan(Strict):
    """A Plan as its ``as_json`` gave it; ``chosen`` is what was decided on, in words."""

    visit: int
    plan: dict[str, Any]
    chosen: Text = ""
    id: int = 0


def in_pairs(answers: Mapping[str, Any], visible: Visible | None) -> list[list[Any]]:
    """The answers in their order, each as [character, answer]; before them ["visible", parts] where that was given.

    >>> in_pairs({"milky_sap": ["absent"], "plant_height": 4.0}, ("leaves",))
    [['visible', ['leaves']], ['milky_sap', ['absent']], ['plant_height', 4.0]]
    """
    first = [[VISIBLE, list(visible)]] if visible is not None else []
    return first + [[character, answer] for character, answer in answers.items()]


def from_pairs(kept: object) -> dict[str, Any]:
    """What in_pairs made, as a mapping in that order; a mapping, as older books have it, is taken as it is.

    Raises ValueError for anything else, and for a character that is there twice.

    >>> from_pairs([["visible", ["leaves"]], ["milky_sap", ["absent"]]])
    {'visible': ['leaves'], 'milky_sap': ['absent']}
    """
    if isinstance(kept, dict):
        return dict(kept)
    if not isinstance(kept, list | tuple):
        raise ValueError("answers: give a list of pairs")
    found: dict[str, Any] = {}
    for pair in kept:
        if not isinstance(pair, list | tuple) or len(pair) != 2 or not isinstance(pair[0], str):
            raise ValueError("answers: each is a pair, a character and what was answered")
        if pair[0] in found:
            raise ValueError(f"answers: {pair[0][:60]} is there twice")
        found[pair[0]] = pair[1]
    return found
