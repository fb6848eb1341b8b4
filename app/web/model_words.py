"""What a training came to, and what a model is called, for people who do not know the names of the figures."""

from __future__ import annotations

from datetime import datetime
from typing import Any

SAYS = {
    "promote": "It is better, and is active now.",
    "keep": "It is not better, so the previous model stays active.",
    "cannot_tell": "The photos do not show which is better, so the previous model stays active.",
}
DECIDED_BY_HAND = "It is active now, as you decided."


def model_words(name: str) -> str:
    """A model in words: the shipped one, or by when it was made.

    >>> model_words("starter"), model_words("20261125T184254Z-75bc26a3")
    ('the model as shipped', 'the model of 25 Nov 2026, 18:42 UTC')
    """
    try:
        made = datetime.strptime(name[:16], "%Y%m%dT%H%M%SZ")
    except ValueError:
        return "the model as shipped" if name == "starter" else name
    return f"the model of {made:%d %b %Y, %H:%M} UTC"


def in_words(done: Any) -> dict[str, Any]:
    """What a training came to, before and after, for people who do not know the figures' names."""
    verdict, measured = done.promotion.verdict, done.work.measured
    lines = [f"It learned from {done.photos} photos and was tested on {measured.photos} that it had not seen."]
    first, three = f"{measured.top1:.0%}", f"{measured.top3:.0%}"
    lines.append(f"Its first choice was right for {first} of them; the right name was among its three for {three}.")
    lines += [
        f"Known before: {s.species.replace('_', ' ')}, {s.after:.0%} of {s.photos} photos named right, "
        f"by the previous model {s.before:.0%}."
        for s in verdict.known_species
    ]
    lines += [f"It failed a rule: {rule.name}: {rule.says}." for rule in verdict.rules if rule.passed is False]
    for s in verdict.new_species:
        lines.append(f"New to it: {s.species.replace('_', ' ')}, {s.recall:.0%} of {s.photos} photos named right.")
    left = [f"{name}: {why}" for name, why in list(done.left_out.items())[:5]]
    return {
        "changed": done.promotion.changed,
        "says": DECIDED_BY_HAND if done.promotion.changed and verdict.decision != "promote" else SAYS[verdict.decision],
        "lines": lines,
        "rules": verdict.rules,
        "left": left,
        "can_override": verdict.decision == "cannot_tell" and not done.promotion.changed,
    }
