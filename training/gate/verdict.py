"""The outcome of a comparison: promote, keep, or cannot tell, with the figure behind every rule."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

Decision = Literal["promote", "keep", "cannot_tell"]
WORDS: dict[Decision, str] = {
    "promote": "activate the new model",
    "keep": "keep the old model",
    "cannot_tell": "cannot tell which is better; keep the old model",
}


@dataclass(frozen=True)
class Rule:
    """One rule: ``passed`` is None when there was nothing to check it on. ``always``: it is judged
    on however few photos, and no person can override it."""

    name: str
    passed: bool | None
    value: float | None
    says: str
    always: bool = False


@dataclass(frozen=True)
class KnownSpecies:
    """A species that both models know: its held-out photos, and the share that each names right, 0 to 1."""

    species: str
    photos: int
    before: float
    after: float


@dataclass(frozen=True)
class NewSpecies:
    """A species that only the new model knows: share of its photos named right, with its interval;
    and the share that the old model took for none of its species, which was right of it."""

    species: str
    photos: int
    recall: float
    low: float
    high: float
    other_before: float


@dataclass(frozen=True)
class Verdict:
    """What to do, and why. ``old`` and ``new`` are names of models."""

    decision: Decision
    old: str
    new: str
    photos: int
    groups: int
    rules: tuple[Rule, ...]
    new_species: tuple[NewSpecies, ...] = ()
    known_species: tuple[KnownSpecies, ...] = ()

    @property
    def failed(self) -> tuple[Rule, ...]:
        """The rules that were broken."""
        return tuple(rule for rule in self.rules if rule.passed is False)

    def as_json(self) -> dict[str, Any]:
        """The whole verdict, for a log or another program."""
        return asdict(self)

    def __str__(self) -> str:
        sign = {True: "ok  ", False: "FAIL", None: "-   "}
        known = f"{self.photos} held-out photos of known plants in {self.groups} groups"
        lines = [f"{self.new} against {self.old}, {known}"]
        lines += [f"  {sign[rule.passed]} {rule.name}: {rule.says}" for rule in self.rules]
        lines += [
            f"  known  {s.species}: {s.photos} photos, {self.old} {s.before:.0%} right, {self.new} {s.after:.0%}"
            for s in self.known_species
        ]
        lines += [
            f"  new    {s.species}: {s.photos} photos, {self.old} 0% right (it said other for {s.other_before:.0%}), "
            f"{self.new} {s.recall:.0%} ({s.low:.0%} to {s.high:.0%})"
            for s in self.new_species
        ]
        return "\n".join([*lines, f"Verdict: {WORDS[self.decision]}."])
