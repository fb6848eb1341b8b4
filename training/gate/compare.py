"""Compare two models on the same held-out photos by the rules of configs/gate.yaml."""

from __future__ import annotations

from training.evaluate.measure import ELSE
from training.gate.evidence import HeldOut
from training.gate.integrity import check_origin, check_sound, kept_species
from training.gate.known import judge_known, shown_of_both
from training.gate.newcomers import figures_of_new, judge_new
from training.gate.rules import GateRules
from training.gate.verdict import Decision, Rule, Verdict
from training.head.conformal import measure_sets


def compare(held_out: HeldOut, rules: GateRules, seed: int = 0) -> Verdict:
    """Whether the new model may take the old one's place.

    Species that both know are judged on their photos, or, where there are too few of these, on what the starter's
    statistics say of them. Species that only the new model knows are judged on their own photos: whoever begins has
    photos of little else. `keep` when any rule is broken; `promote` when the known species are shown to be kept, or
    when nothing can be said against that and the new ones are shown to be named; else `cannot_tell`.
    """
    shared = held_out.where(held_out.known_to_old())
    sound = check_sound(held_out.new)
    found = [sound, *check_origin(held_out.origin, rules), kept_species(held_out)]
    enough, named = len(shared.labels) >= rules.least_photos.value, False
    if sound.passed:
        newcomers = judge_new(held_out, rules)
        named = any(rule.passed for rule in newcomers)
        found += [*judge_known(held_out, rules, seed), *newcomers]
        if enough or named:
            found.append(_coverage(held_out, rules, seed))
    return Verdict(
        decision=_decide(found, enough or named),
        old=held_out.old.name,
        new=held_out.new.name,
        photos=len(shared.labels),
        groups=len(set(shared.groups)),
        rules=tuple(found),
        new_species=figures_of_new(held_out) if sound.passed else (),
        known_species=shown_of_both(shared) if sound.passed else (),
    )


def _decide(found: list[Rule], enough: bool) -> Decision:
    if any(rule.passed is False for rule in found):
        return "keep"
    return "promote" if enough else "cannot_tell"


def _coverage(held_out: HeldOut, rules: GateRules, seed: int) -> Rule:
    new, sets = held_out.new, held_out.sets
    if sets is None:
        return Rule("coverage", False, None, "the new model has no sets; conformalize it first")
    if sets.classes != (*new.species, ELSE) or sets.coverage != rules.coverage.value:
        return Rule("coverage", False, None, "the sets were made for other classes or another coverage")
    truth, level = held_out.truth(new.species), rules.coverage_level.value
    found = measure_sets(sets, new.probabilities, truth, held_out.groups, level, seed)
    says = (
        f"sets that promise {rules.coverage.value:.0%} hold {found.coverage:.1%}, {found.mean_size:.2f} names each; "
        f"chance explains {found.low:.1%} to {found.high:.1%}"
    )
    # Probabilities that equal the threshold, as of a model that is quite sure, are no fault.
    return Rule("coverage", found.low <= found.coverage and found.clear <= found.high, found.coverage, says)
