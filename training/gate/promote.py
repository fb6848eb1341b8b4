"""Put a new model in charge when the verdict allows it; whatever is decided is logged."""

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
    """What was done: the model in charge now, and whether that is the new one."""

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
    """Install ``candidate`` and put it in charge, if the verdict is `promote`, or `cannot tell` and overridden.

    A broken rule cannot be overridden. ``check`` reads the installed folder and raises
    ModelError when it cannot. A model that is turned down is not installed. Raises ModelError
    also when another model came into charge since the comparison; nothing changes then.
    """
    if verdict.decision == "keep" and override is not None:
        broken = ", ".join(rule.name for rule in verdict.failed)
        raise ModelError(f"the new model breaks rules that no one can override: {broken}; keep {verdict.old}")
    overridden = verdict.decision == "cannot_tell" and override is not None
    if verdict.decision != "promote" and not overridden:
        registry.log("keep", model=verdict.new, instead_of=verdict.old, verdict=verdict.as_json())
        return Promotion(verdict.old, False, verdict, f"{WORDS[verdict.decision]}: {verdict.old} stays active")
    name = registry.install(candidate)
    check(registry.folder / name)
    registry.use(
        name,
        action="override" if overridden else "promote",
        must_replace=verdict.old,
        verdict=verdict.as_json(),
        **({"override": asdict(override)} if overridden and override is not None else {}),
    )
    told = f", because {override.by} says so: {override.reason}" if overridden and override is not None else ""
    return Promotion(name, True, verdict, f"{name} is active now{told}; swardkey models undo takes it back")
