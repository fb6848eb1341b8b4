"""How far a sentence may be leant on, as a small mark on paper, with the published works at its end."""

from __future__ import annotations

from collections.abc import Iterable

from app.papers.pdf import safe
from model.control import Control
from model.control.facts import Statement
from model.flora.species import Fact

PRACTICE, MEMORY, LABEL = "*", "\u00b0", "L"


class Marks:
    """Marks by standing; published works are numbered as they come."""

    def __init__(self, control: Control) -> None:
        self.control = control
        self.works: dict[str, int] = {}
        self.used: set[str] = set()

    def said(self, text: str, standing: str, sources: Iterable[str]) -> str:
        """A sentence of ours in markup, with its mark."""
        return f"{safe(text)}<super size=6>{','.join(self._marks(standing, sources))}</super>"

    def after(self, text: str, facts: Iterable[Fact]) -> str:
        """A sentence in markup with the marks of all the facts that it rests on, each once."""
        marks = dict.fromkeys(mark for fact in facts for mark in self._marks(fact.standing, fact.source))
        return f"{safe(text)}<super size=6>{','.join(marks)}</super>"

    def _marks(self, standing: str, sources: Iterable[str]) -> list[str]:
        if standing == "published":
            known = self.control.flora.sources
            keys = [key for key in sources if known[key].standing == "published"]
            return [str(self.works.setdefault(key, len(self.works) + 1)) for key in keys]
        if standing == "by the label":
            self.used.add(LABEL)
            return [LABEL]
        mark = PRACTICE if standing == "common practice" else MEMORY
        self.used.add(mark)
        return [mark]

    def of(self, statement: Statement) -> str:
        """A statement in markup, with its mark."""
        return self.said(statement.text, statement.standing, statement.source)

    def legend(self) -> list[str]:
        """What the marks mean, in markup, a line each."""
        said = {
            PRACTICE: "common practice, no source",
            MEMORY: "from memory, to be verified",
            LABEL: "from a label that was read, as stated",
        }
        plain = "; ".join(f"{mark} {told}" for mark, told in said.items() if mark in self.used)
        works = [f"{n} {safe(self.control.flora.sources[key].citation)}" for key, n in self.works.items()]
        return [line for line in (plain, ";  ".join(works)) if line]
