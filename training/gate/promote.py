"""Activate a new model when the verdict allows it; whatever is decided is logged."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

from model.errors import ModelError
from training.gate.verdict import WORDS, Verdict
from training.registry.models import Registry


@dataclass(frozen=True)
class Override:
    """A person's word against `cannot tell`: who, and why. Raises ModelError when either is empty."""

    by: str
    reason: str

    def __post_init__(self) -> None:
        if not self.by.strip() or not self.reason.strip():
            raise ModelError("an override needs the name of who decides, and a reason; give both")


@dataclass(frozen=True)
class Promotion:
    """What was done: the active model, whether that is the new one, and what the new one is called, if it was kept."""

    in_charge: str
    changed: bool
    verdict: Verdict
    says: str
    new: str | None = None


def promote(
    registry: Registry,
    candidate: Path,
    verdict: Verdict,
    override: Override | None = None,
    check: Callable[[Path], object] = lambda folder: None,
) -> Promotion:
    """Install ``candidate`` and activate it, if the verdict is `promote`, or `cannot tell` and overridden.

    A model that is turned down is kept beside the others, and the message says how to activate it: by a person who has
    seen the figures, since a word given before they were known does not cover a loss. One that breaks a rule that is
    always judged is not kept, and nobody can override that. ``check`` reads a model's folder and raises ModelError when
    it cannot: the installed one, and the active one, in whose place another is used where that fails. Raises ModelError
    also when another model was activated since the comparison; nothing changes then.
    """
    unsound = [rule.name for rule in verdict.failed if rule.always]
    if unsound and override is not None:
        raise ModelError(
            f"the new model breaks rules that no one can override: {', '.join(unsound)}; keep {verdict.old}"
        )
    if unsound:
        registry.log("keep", model=verdict.new, instead_of=verdict.old, verdict=verdict.as_json())
        why = f"it is not kept, because it breaks rules that no one can override: {', '.join(unsound)}"
        return Promotion(verdict.old, False, verdict, f"{WORDS[verdict.decision]}: {verdict.old} stays active; {why}")
    if verdict.decision == "promote":
        override = None  # not needed, and not written down as what decided
    elif override is None or verdict.failed:
        name = registry.keep_aside(candidate, instead_of=verdict.old, verdict=verdict.as_json())
        check(registry.folder / name)
        return Promotion(verdict.old, False, verdict, _turned_down(verdict, name), name)
    name = registry.install(candidate)
    check(registry.folder / name)
    facts = {} if override is None else {"override": asdict(override)}
    action = "promote" if override is None else "override"
    registry.use(name, action, must_replace=verdict.old, read=check, verdict=verdict.as_json(), **facts)
    because = "" if override is None else f", because {override.by} says so: {override.reason}"
    return Promotion(name, True, verdict, f"{name} is active now{because}; swardkey models undo takes it back", name)


def _turned_down(verdict: Verdict, name: str) -> str:
    """What is done with a model that is turned down, and how to activate it all the same."""
    broken = f" It breaks: {', '.join(rule.name for rule in verdict.failed)}." if verdict.failed else ""
    again = "" if verdict.failed else ", or train again with swardkey train --by NAME --because REASON"
    return (
        f"{WORDS[verdict.decision]}: {verdict.old} stays active.{broken} The new one is kept, but not active; "
        f"to activate it: swardkey models use {name} --by NAME --because REASON{again}"
    )
