"""Species that only the new model knows: judged on their own held-out photos."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from training.evaluate.measure import wilson
from training.gate.evidence import HeldOut
from training.gate.rules import GateRules
from training.gate.verdict import NewSpecies, Rule
from training.head.conformal import effective_sample_size

Groups = NDArray[np.str_]


def judge_new(held_out: HeldOut, rules: GateRules) -> list[Rule]:
    """Whether the new species are named, all together and each of which there are enough photos.

    Together they must be named right clearly more often than chance and than ``new_floor``. Of a single one, photos
    are few: it counts against the model only where it is clearly named less often than that. Photos of one group
    are alike and count by their effective number. No rules where the new model knows no further species.
    """
    further = [name for name in held_out.new.species if name not in held_out.old.species]
    labels, groups = np.array(held_out.labels), np.array(held_out.groups)
    here = np.isin(labels, further)
    if not further:
        return []
    photos, least = int(here.sum()), rules.new_photos.value
    if photos < least:
        return [Rule("new species", None, None, f"{photos} held-out photos of {len(further)}; {least} are needed")]
    right = held_out.new.probabilities.argmax(axis=1) == held_out.truth(held_out.new.species)
    limit = max(rules.new_floor.value, 1.0 / (len(held_out.new.species) + 1))
    own = np.array([f"{label} {group}" for label, group in zip(labels, groups, strict=True)])
    low, high = interval_of(right[here], own[here])
    says = (
        f"{right[here].mean():.0%} of {photos} photos of {len(set(labels[here]))} named right ({low:.0%} to {high:.0%})"
        f"; the low end must be above {limit:.0%}"
    )
    passed = True if low > limit else False if high < limit else None
    return [Rule("new species", passed, low, says), _each(held_out, right, further, limit, least)]


def _each(held_out: HeldOut, right: NDArray[np.bool_], further: list[str], limit: float, least: int) -> Rule:
    labels, groups = np.array(held_out.labels), np.array(held_out.groups)
    poor, lost = [], []
    for name in further:
        here = labels == name
        if here.sum() < least:
            continue
        low, high = interval_of(right[here], groups[here])
        if low <= limit:
            poor.append(f"{name} ({int(right[here].sum())} of {int(here.sum())})")
        if high < limit:
            lost.append(poor[-1])
    if lost:
        says = f"clearly named less often than {limit:.0%}: {', '.join(lost)}"
        return Rule("each new species", False, None, says)
    says = f"not yet shown to be named: {', '.join(poor)}" if poor else f"none is clearly under {limit:.0%}"
    return Rule("each new species", None, None, says)


def figures_of_new(held_out: HeldOut) -> tuple[NewSpecies, ...]:
    """Each further species of the new model that has held-out photos."""
    old, new = held_out.old, held_out.new
    labels, groups, found = np.array(held_out.labels), np.array(held_out.groups), []
    for column, name in enumerate(new.species):
        here = labels == name
        if name not in old.species and here.any():
            right = new.probabilities[here].argmax(axis=1) == column
            other = old.probabilities[here].argmax(axis=1) == len(old.species)
            low, high = interval_of(right, groups[here])
            found.append(NewSpecies(name, len(right), float(right.mean()), low, high, float(other.mean())))
    return tuple(found)


def interval_of(right: NDArray[np.bool_], groups: Groups) -> tuple[float, float]:
    """The 95 % interval of the share that is right, with as many photos as are effective."""
    n = effective_sample_size(groups)
    return wilson(float(right.mean()) * n, n)
