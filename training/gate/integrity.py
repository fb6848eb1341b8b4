"""Rules that hold for however few photos: the comparison itself must be sound."""

from __future__ import annotations

import numpy as np

from training.gate.evidence import HeldOut, Judged, Origin
from training.gate.rules import GateRules
from training.gate.verdict import Rule


def check_sound(judged: Judged) -> Rule:
    """Probabilities must be probabilities: one a species and other, finite, 0 to 1, summing to 1."""
    p = judged.probabilities
    fits = p.ndim == 2 and p.shape[1] == len(judged.species) + 1
    sound = fits and bool(np.isfinite(p).all() and (p >= -1e-9).all() and np.allclose(p.sum(axis=1), 1.0, atol=1e-6))
    says = "every photo gets probabilities that sum to 1" if sound else "gives numbers that are not probabilities"
    return Rule("probabilities", sound, None, says, always=True)


def check_origin(origin: Origin, rules: GateRules) -> list[Rule]:
    """The order of labels, the preparation of photos, and leaks between the parts."""
    same = origin.fitted_classes == origin.saved_classes
    ordered = "as fitted" if same else "the saved names are not in the order in which the head was fitted"
    views = origin.views_fitted == origin.views_served
    prepared = "as in use" if views else f"fitted with {origin.views_fitted}, in use {origin.views_served}"
    return [
        Rule("label order", same, None, ordered, always=True),
        Rule("preparation of photos", views, None, prepared, always=True),
        _skew(origin, rules),
        _leak(origin),
        _near_duplicates(origin, rules),
    ]


def _skew(origin: Origin, rules: GateRules) -> Rule:
    name, limit = "features", rules.skew.value
    if origin.skew is None:
        return Rule(name, None, None, "not compared between training and use", always=True)
    says = f"differ by at most {origin.skew:.2g} between training and use; {limit:g} is allowed"
    return Rule(name, bool(origin.skew <= limit), origin.skew, says, always=True)


def _leak(origin: Origin) -> Rule:
    photos = set(origin.learned.sha256) & set(origin.held_out.sha256)
    groups = set(origin.learned.groups) & set(origin.held_out.groups)
    says = f"{len(photos)} held-out photos and {len(groups)} held-out groups were learned from; none may be"
    return Rule("leak", not photos and not groups, float(len(photos) + len(groups)), says, always=True)


def _near_duplicates(origin: Origin, rules: GateRules) -> Rule:
    name, limit = "near duplicates", rules.duplicate_share.value
    if origin.near_duplicates is None:
        return Rule(name, None, None, "not looked for", always=True)
    share = origin.near_duplicates / max(len(origin.held_out.sha256), 1)
    says = f"{share:.1%} of the held-out photos look like one that was learned from; {limit:.0%} may"
    return Rule(name, share <= limit, share, says, always=True)


def kept_species(held_out: HeldOut) -> Rule:
    """No species that the old model knows may be gone from the new one."""
    gone = [name for name in held_out.old.species if name not in held_out.new.species]
    says = f"gone from the new model: {', '.join(gone)}" if gone else "all that the old model knows are kept"
    return Rule("species", not gone, float(len(gone)), says, always=True)
