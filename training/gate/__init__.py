"""Whether a new model may take the place of the active one, and activating it."""

from training.gate.compare import compare
from training.gate.evidence import HeldOut, Judged, Origin, Part
from training.gate.promote import Override, Promotion, promote
from training.gate.rules import GateRules, load_rules
from training.gate.verdict import Rule, Verdict

__all__ = [
    "GateRules",
    "HeldOut",
    "Judged",
    "Origin",
    "Override",
    "Part",
    "Promotion",
    "Rule",
    "Verdict",
    "compare",
    "load_rules",
    "promote",
]
