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
    """What was done: the active model, and whether that is the new one."""

    in_charge: str
    changed: bool
    verdict: Verdict
    says: str


def promote(
    registry: Registry,
    candidate: Path,
    verdict: Verdict,
    override: Override | None = None,
    check: Callable[[Path], object] = lambda folder: None,
) -> Promotion:
    """Install ``candidate`` and activate it, if the verdict is `promote`, or `cannot tell` and overridden.

    A broken rule cannot be overridden. ``check`` reads the installed folder and raises
    ModelError when it cannot. A model that is turned down is not installed. Raises ModelError
    also when another model was activated since the comparison; nothing changes then.
    """
    if verdict.decision == "keep" and override is not None:
        broken = ", ".join(rule.name for rule in verdict.failed)
        raise ModelError(f"the new model breaks rules that no one can override: {broken}; keep {verdict.old}")
    if verdict.decision == "promote":
        override = None  # not needed, and not written down as what decided
    elif override is None:
        registry.log("keep", model=verdict.new, instead_of=verdict.old, verdict=verdict.as_json())
        return Promotion(verdict.old, False, verdict, f"{WORDS[verdict.decision]}: {verdict.old} stays active")
    name = registry.install(candidate)
    check(registry.folder / name)
    facts = {} if override is None else {"override": asdict(override)}
    action = "promote" if override is None else "override"
    registry.use(name, action, must_replace=verdict.old, verdict=verdict.as_json(), **facts)
    because = "" if override is None else f", because {override.by} says so: {override.reason}"
    return Promotion(name, True, verdict, f"{name} is active now{because}; swardkey models undo takes it back")
