"""What the papers say of their own: configs/papers.yaml; what to bring to a job, by the methods of the plan."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from model.control import Control
from model.control.facts import MethodName
from model.flora.load import CONFIGS, read_facts
from model.flora.species import Fact


class ThingsToBring(Fact):
    """Things to bring."""

    bring: tuple[str, ...]


class Sentence(Fact):
    """A sentence for the client; in braces what is put in."""

    text: str


class Mowing(Sentence):
    """How long mowing waits: ``days`` after the day of the treatment."""

    days: Annotated[int, Field(ge=1, le=60)]


class ForClient(Fact):
    """What is said to a client, who is not of the trade."""

    methods: dict[MethodName, str]
    keep_off: Sentence
    mowing: Mowing
    clippings: Sentence
    grazing: Sentence


class Papers(BaseModel):
    """configs/papers.yaml."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    always: ThingsToBring
    methods: dict[MethodName, ThingsToBring]
    chemical: ThingsToBring
    client: ForClient


@lru_cache(maxsize=2)
def load_papers(configs: Path = CONFIGS) -> Papers:
    """Read configs/papers.yaml. Raises FloraError naming the field that is wrong."""
    return read_facts(configs / "papers.yaml", Papers)


def to_bring(control: Control, methods: Iterable[MethodName], papers: Papers) -> tuple[str, ...]:
    """What to bring for some methods, each thing once."""
    named = list(methods)
    things = list(papers.always.bring)
    for method in named:
        things += papers.methods[method].bring if method in papers.methods else ()
    if any(control.methods.methods[method].chemical for method in named):
        things += papers.chemical.bring
    return tuple(dict.fromkeys(things))
