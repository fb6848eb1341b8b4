"""What a training came to, and what a model is called, for people who do not know the names of the figures."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime
from typing import Any

SAYS = {
    "promote": "It is better, and is active now.",
    "keep": "It is not better, so the previous model stays active.",
    "cannot_tell": "The photos do not show which is better, so the previous model stays active.",
}


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


def with_names(text: str, called: Callable[[str], str]) -> str:
    """A text in which species are called by their names instead of their ids.

    >>> with_names("gone: poa_annua", {"poa_annua": "winter grass"}.get)
    'gone: winter grass'
    """
    return re.sub(r"\b[a-z]+(?:_[a-z]+)+\b", lambda found: called(found[0]) or found[0], text)


def training_result(done: Any, called: Callable[[str], str]) -> dict[str, Any]:
    """What a training came to, before and after, for people who do not know the figures' names.

    ``called`` gives the name of a species. ``new`` is the model that was kept although it was turned down, or "".
    """
    verdict, measured = done.promotion.verdict, done.work.measured
    lines = [f"It learned from {done.photos} photos and was tested on {measured.photos} that it had not seen."]
    first, three = f"{measured.top1:.0%}", f"{measured.top3:.0%}"
    lines.append(f"Its first choice was right for {first} of them; the right name was among its three for {three}.")
    lines += [
        f"Known before: {called(s.species)}, {s.after:.0%} of {s.photos} photos named right, "
        f"by the previous model {s.before:.0%}."
        for s in verdict.known_species
    ]
    rules = [
        {"name": rule.name, "passed": rule.passed, "says": with_names(rule.says, called)} for rule in verdict.rules
    ]
    lines += [f"It failed a rule: {rule['name']}: {rule['says']}." for rule in rules if rule["passed"] is False]
    for s in verdict.new_species:
        lines.append(f"New to it: {called(s.species)}, {s.recall:.0%} of {s.photos} photos named right.")
    lines += [f"Not learned yet: {called(label)} needs {missing}." for label, missing in done.not_yet.items()]
    left = [f"{name}: {why}" for name, why in list(done.left_out.items())[:5]]
    return {
        "changed": done.promotion.changed,
        "says": SAYS[verdict.decision],
        "lines": lines,
        "rules": rules,
        "left": left,
        "new": "" if done.promotion.changed else done.promotion.new or "",
    }
