"""Whether a new model may take the place of the one in charge, and putting it there."""

from training.promote.compare import compare
from training.promote.evidence import HeldOut, Judged, Origin, Part
from training.promote.judge import judge
from training.promote.leak import near_duplicates, outlines
from training.promote.promote import Override, Promotion, promote
from training.promote.rules import GateRules, load_rules
from training.promote.verdict import Rule, Verdict

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
    "judge",
    "load_rules",
    "near_duplicates",
    "outlines",
    "promote",
]
