"""Compare two models on the same held-out photos by the rules of configs/gate.yaml."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from training.evaluate.intervals import wilson
from training.gate.evidence import HeldOut, Judged
from training.gate.integrity import check_origin, check_sound, kept_species, same_golden
from training.gate.paired import paired_difference
from training.gate.rules import GateRules
from training.gate.unknown import judge_unknown
from training.gate.verdict import Decision, NewSpecies, Rule, Verdict
from training.head.conformal import measure_sets

Array = NDArray[np.float64]


def compare(held_out: HeldOut, rules: GateRules, seed: int = 0) -> Verdict:
    """Whether the new model may take the old one's place.

    `keep` when any rule is broken; `cannot_tell` when nothing that is always judged is broken
    and there are too few photos of species that both know; else `promote`. Photos of species
    that only the new model knows are reported on their own. Where most photos are of those, a
    model that names clearly more of all photos, and changes nothing else that is judged, may be
    promoted too: whoever begins has photos of little but what the starter does not know.
    """
    both = np.array([label not in held_out.new.species or label in held_out.old.species for label in held_out.labels])
    shared = _where(held_out, both)
    broken = check_sound(held_out.new)
    found = [broken, *check_origin(held_out.origin, rules), kept_species(held_out), same_golden(held_out, rules)]
    enough = len(shared.labels) >= rules.least_photos.value
    if broken.passed and enough:
        found += _figures(shared, held_out, rules, seed)
    elif broken.passed and len(held_out.labels) >= rules.least_photos.value:
        gained = _gained(held_out, rules, seed)
        found += [gained, _coverage(held_out, rules, seed)]
        enough = bool(gained.passed)
    return Verdict(
        decision=_decide(found, enough),
        old=held_out.old.name,
        new=held_out.new.name,
        photos=len(shared.labels),
        groups=len(set(shared.groups)),
        rules=tuple(found),
        new_species=_new_species(held_out) if broken.passed else (),
    )


def _decide(found: list[Rule], enough: bool) -> Decision:
    if any(rule.passed is False for rule in found):
        return "keep"
    return "promote" if enough else "cannot_tell"


def _where(held_out: HeldOut, keep: NDArray[np.bool_]) -> HeldOut:
    def of(judged: Judged) -> Judged:
        return replace(
            judged,
            probabilities=judged.probabilities[keep],
            other_left_out=None if judged.other_left_out is None else judged.other_left_out[keep],
        )

    rows = np.flatnonzero(keep)
    labels, groups = (tuple(values[i] for i in rows) for values in (held_out.labels, held_out.groups))
    return replace(held_out, labels=labels, groups=groups, old=of(held_out.old), new=of(held_out.new))


def _figures(shared: HeldOut, whole: HeldOut, rules: GateRules, seed: int) -> list[Rule]:
    truth = shared.truth(shared.old.species)
    old, new = shared.of_the_old(shared.old), shared.of_the_old(shared.new)
    return [
        _balanced(old, new, truth, shared, rules, seed),
        _species(old, new, truth, shared, rules),
        _top3(old, new, truth, rules),
        _nll(old, new, truth, rules),
        _coverage(whole, rules, seed),
        *judge_unknown(shared, rules),
    ]


def _right(probabilities: Array, truth: NDArray[np.int64]) -> NDArray[np.bool_]:
    return np.asarray(probabilities.argmax(axis=1) == truth)


def _balanced(old: Array, new: Array, truth: NDArray[np.int64], shared: HeldOut, rules: GateRules, seed: int) -> Rule:
    found = paired_difference(
        _right(old, truth), _right(new, truth), truth, shared.groups, rules.draws.value, rules.level.value, seed
    )
    limit = -rules.balanced_loss.value
    says = (
        f"{found.value * 100:+.2f} points ({found.low * 100:+.2f} to {found.high * 100:+.2f}); "
        f"the low end must be above {limit * 100:+g}"
    )
    return Rule("balanced accuracy", found.low > limit, found.low, says)


def _gained(held_out: HeldOut, rules: GateRules, seed: int) -> Rule:
    """Whether the new model names clearly more of all photos; not broken where it does not, as that tells nothing."""
    names = held_out.new.species
    truth = held_out.truth(names)
    old = np.zeros((len(held_out.labels), len(names) + 1))
    for column, name in enumerate(held_out.old.species):
        if name in names:
            old[:, names.index(name)] += held_out.old.probabilities[:, column]
    old[:, -1] += held_out.old.probabilities[:, -1]
    found = paired_difference(
        _right(old, truth),
        _right(held_out.new.probabilities, truth),
        truth,
        held_out.groups,
        rules.draws.value,
        rules.level.value,
        seed,
    )
    says = f"{found.value * 100:+.1f} points over all photos ({found.low * 100:+.1f} to {found.high * 100:+.1f})"
    return Rule("gain", True if found.low > 0 else None, found.low, f"{says}; the low end must be above 0")


def _species(old: Array, new: Array, truth: NDArray[np.int64], shared: HeldOut, rules: GateRules) -> Rule:
    lost = {}
    for column, name in enumerate(shared.old.species):
        here = truth == column
        if here.sum() >= rules.species_photos.value:
            lost[name] = float(_right(old, truth)[here].mean() - _right(new, truth)[here].mean())
    if not lost:
        return Rule("single species", None, None, f"none has {rules.species_photos.value} held-out photos")
    worst = max(lost, key=lambda name: lost[name])
    says = f"{worst} {-lost[worst] * 100:+.1f} points, the worst; none may lose over {rules.species_loss.value * 100:g}"
    return Rule("single species", lost[worst] <= rules.species_loss.value, lost[worst], says)


def _top3(old: Array, new: Array, truth: NDArray[np.int64], rules: GateRules) -> Rule:
    def share(p: Array) -> float:
        return float((np.argsort(-p, axis=1, kind="stable")[:, :3] == truth[:, None]).any(axis=1).mean())

    before, after = share(old), share(new)
    says = f"{before:.1%} to {after:.1%}; may lose {rules.top3_loss.value * 100:g} points"
    return Rule("first three", after >= before - rules.top3_loss.value - 1e-12, after - before, says)


def _nll(old: Array, new: Array, truth: NDArray[np.int64], rules: GateRules) -> Rule:
    def loss(p: Array) -> float:
        return float(-np.log(np.maximum(p[np.arange(len(truth)), truth], 1e-12)).mean())

    before, after = loss(old), loss(new)
    says = f"{before:.4f} to {after:.4f} nats; may grow by {rules.nll_growth.value:.0%} and {rules.nll_slack.value:g}"
    return Rule(
        "likelihood", after <= before * (1 + rules.nll_growth.value) + rules.nll_slack.value, after - before, says
    )


def _coverage(whole: HeldOut, rules: GateRules, seed: int) -> Rule:
    if whole.sets is None:
        return Rule("coverage", False, None, "the new model has no sets; conformalize it first")
    if whole.sets.classes != (*whole.new.species, "other") or whole.sets.coverage != rules.coverage.value:
        return Rule("coverage", False, None, "the sets were made for other classes or another coverage")
    truth = whole.truth(whole.new.species)
    found = measure_sets(whole.sets, whole.new.probabilities, truth, whole.groups, rules.coverage_level.value, seed)
    says = (
        f"sets that promise {rules.coverage.value:.0%} hold {found.coverage:.1%}, {found.mean_size:.2f} names each; "
        f"chance explains {found.low:.1%} to {found.high:.1%}"
    )
    # Equal probabilities, as of a model that is quite sure, lie on the threshold in numbers; that is no fault.
    return Rule("coverage", found.low <= found.coverage and found.clear <= found.high, found.coverage, says)


def _new_species(held_out: HeldOut) -> tuple[NewSpecies, ...]:
    found = []
    labels = np.array(held_out.labels)
    for name in held_out.new.species:
        here = labels == name
        if name in held_out.old.species or not here.any():
            continue
        right = held_out.new.probabilities[here].argmax(axis=1) == held_out.new.species.index(name)
        other = held_out.old.probabilities[here].argmax(axis=1) == len(held_out.old.species)
        low, high = wilson(float(right.sum()), len(right))
        found.append(NewSpecies(name, len(right), float(right.mean()), low, high, float(other.mean())))
    return tuple(found)
