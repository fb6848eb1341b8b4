"""Sources and standing of facts, and the check that a file claims no more than its sources support."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

from pydantic import BaseModel

from model.errors import FloraError, nearest
from model.flora.species import Entry, Fact, Standing

# The lower, the more reliable.
_WEIGHT: dict[Standing, int] = {"published": 0, "common practice": 1, "from memory": 2}


class Source(Entry):
    """Where facts were read, and its standing."""

    citation: str
    url: str | None = None
    standing: Standing


Sources = Mapping[str, Source]
Facts = TypeVar("Facts", bound=BaseModel)
_PLAIN = frozenset({str, int, float, bool, type(None)})  # what contains no fact


def facts_in(found: Any, where: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Fact]]:
    """Every fact in a checked file, at any depth, with the fields that lead to it."""
    if isinstance(found, Fact):
        yield where, found
    if isinstance(found, BaseModel):
        inner: Any = found.__dict__.items()
    elif isinstance(found, Mapping):
        inner = found.items()
    else:
        inner = enumerate(found, start=1)
    for name, value in inner:
        if type(value) not in _PLAIN and _may_contain_facts(value):
            yield from facts_in(value, (*where, str(name)))


def _may_contain_facts(value: Any) -> bool:
    """Whether to look into a value: most of the flora's tens of thousands are words, numbers and lists of them."""
    if isinstance(value, BaseModel):
        return True
    within = value.values() if isinstance(value, dict) else value if isinstance(value, list | tuple) else ()
    return not _PLAIN.issuperset(map(type, within))


def check_facts(path: Path, found: Any, sources: Sources) -> None:
    """Raise FloraError where a fact names an unknown source, or claims more than its sources support.

    ``found`` is what was read from the file: a model, or models by name.
    """
    for fields, fact in facts_in(found):
        unknown = next((key for key in fact.source if key not in sources), None)
        if unknown is not None:
            where = ".".join(fields)
            raise FloraError(f"{path}: {where}: source {unknown} is not in sources.yaml; {nearest(unknown, sources)}")
        if _WEIGHT[fact.standing] < min(_WEIGHT[sources[key].standing] for key in fact.source):
            where = ".".join(fields)
            raise FloraError(f"{path}: {where} says {fact.standing}, but none of its sources {fact.source} is")


def cite(sources: Sources, *facts: Fact) -> str:
    """Standing and sources of facts in words, each standing and each work once."""
    works: dict[Standing, dict[str, None]] = {}
    for fact in facts:
        named = [sources[key].citation for key in fact.source if sources[key].standing == "published"]
        works.setdefault(fact.standing, {}).update(dict.fromkeys(named))
    return "; ".join(_cited(standing, "; ".join(named)) for standing, named in works.items())


@dataclass(frozen=True)
class Sourced(Generic[Facts]):
    """A file of facts with the sources that it names."""

    facts: Facts
    sources: dict[str, Source]

    def cited(self, *facts: Fact) -> str:
        """Standing and source of one or more facts, in words."""
        return cite(self.sources, *facts)


def _cited(standing: Standing, named: str) -> str:
    if standing == "published":
        return f"published: {named}"
    plain = "common practice, no source" if standing == "common practice" else "from memory, verify"
    return f"{plain.split(',')[0]}; compare {named}" if named else plain
