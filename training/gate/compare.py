"""Compare two models on the same held-out photos by the rules of configs/gate.yaml."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.evaluate.measure import ELSE, wilson
from training.gate.evidence import HeldOut
from training.gate.integrity import check_origin, check_sound, kept_species
from training.gate.paired import Difference, paired_difference
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
    shared = held_out.where(both)
    sound = check_sound(held_out.new)
    found = [sound, *check_origin(held_out.origin, rules), kept_species(held_out)]
    enough = len(shared.labels) >= rules.least_photos.value
    if sound.passed and enough:
        found += [
            *_Pair.of(shared, shared.old.species, rules, seed).rules_of_accuracy(),
            _coverage(held_out, rules, seed),
        ]
        found += judge_unknown(shared, rules)
    elif sound.passed and len(held_out.labels) >= rules.least_photos.value:
        gain = _Pair.of(held_out, held_out.new.species, rules, seed).gain()
        found += [gain, _coverage(held_out, rules, seed)]
        enough = bool(gain.passed)
    return Verdict(
        decision=_decide(found, enough),
        old=held_out.old.name,
        new=held_out.new.name,
        photos=len(shared.labels),
        groups=len(set(shared.groups)),
        rules=tuple(found),
        new_species=_new_species(held_out) if sound.passed else (),
    )


def _decide(found: list[Rule], enough: bool) -> Decision:
    if any(rule.passed is False for rule in found):
        return "keep"
    return "promote" if enough else "cannot_tell"


@dataclass(frozen=True)
class _Pair:
    """Probabilities of the old and the new model, float (photos, species + 1) each, and the right columns."""

    old: Array
    new: Array
    truth: NDArray[np.int64]
    groups: tuple[str, ...]
    species: tuple[str, ...]
    rules: GateRules
    seed: int

    @classmethod
    def of(cls, held_out: HeldOut, species: tuple[str, ...], rules: GateRules, seed: int) -> _Pair:
        """Both in the columns of ``species``."""
        old, new = held_out.old.in_columns(species), held_out.new.in_columns(species)
        return cls(old, new, held_out.truth(species), held_out.groups, species, rules, seed)

    def rules_of_accuracy(self) -> list[Rule]:
        """What the new model must not lose."""
        return [self.balanced(), self.single_species(), self.first_three(), self.likelihood()]

    def right(self, probabilities: Array) -> NDArray[np.bool_]:
        """Whether the first choice is right, photo by photo."""
        return np.asarray(probabilities.argmax(axis=1) == self.truth)

    def difference(self) -> Difference:
        """Of the balanced accuracies, with its interval."""
        draws, level = self.rules.draws.value, self.rules.level.value
        old, new = self.right(self.old), self.right(self.new)
        return paired_difference(old, new, self.truth, self.groups, draws, level, self.seed)

    def balanced(self) -> Rule:
        found, limit = self.difference(), -self.rules.balanced_loss.value
        says = (
            f"{found.value * 100:+.2f} points ({found.low * 100:+.2f} to {found.high * 100:+.2f}); "
            f"the low end must be above {limit * 100:+g}"
        )
        return Rule("balanced accuracy", found.low > limit, found.low, says)

    def gain(self) -> Rule:
        """Whether the new model names clearly more; not broken where it does not, as that proves nothing."""
        found = self.difference()
        says = f"{found.value * 100:+.1f} points over all photos ({found.low * 100:+.1f} to {found.high * 100:+.1f})"
        return Rule("gain", True if found.low > 0 else None, found.low, f"{says}; the low end must be above 0")

    def single_species(self) -> Rule:
        least, most = self.rules.species_photos.value, self.rules.species_loss.value
        lost = {}
        for column, name in enumerate(self.species):
            here = self.truth == column
            if here.sum() >= least:
                lost[name] = float(self.right(self.old)[here].mean() - self.right(self.new)[here].mean())
        if not lost:
            return Rule("single species", None, None, f"none has {least} held-out photos")
        worst = max(lost, key=lambda name: lost[name])
        says = f"{worst} {-lost[worst] * 100:+.1f} points, the worst; none may lose over {most * 100:g}"
        return Rule("single species", lost[worst] <= most, lost[worst], says)

    def first_three(self) -> Rule:
        def share(p: Array) -> float:
            return float((np.argsort(-p, axis=1, kind="stable")[:, :3] == self.truth[:, None]).any(axis=1).mean())

        before, after, most = share(self.old), share(self.new), self.rules.top3_loss.value
        says = f"{before:.1%} to {after:.1%}; may lose {most * 100:g} points"
        return Rule("first three", after >= before - most - 1e-12, after - before, says)

    def likelihood(self) -> Rule:
        def loss(p: Array) -> float:
            return float(-np.log(np.maximum(p[np.arange(len(self.truth)), self.truth], 1e-12)).mean())

        before, after = loss(self.old), loss(self.new)
        growth, slack = self.rules.nll_growth.value, self.rules.nll_slack.value
        says = f"{before:.4f} to {after:.4f} nats; may grow by {growth:.0%} and {slack:g}"
        return Rule("likelihood", after <= before * (1 + growth) + slack, after - before, says)


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


def _new_species(held_out: HeldOut) -> tuple[NewSpecies, ...]:
    old, new, labels = held_out.old, held_out.new, np.array(held_out.labels)
    found = []
    for column, name in enumerate(new.species):
        here = labels == name
        if name not in old.species and here.any():
            right = new.probabilities[here].argmax(axis=1) == column
            other = old.probabilities[here].argmax(axis=1) == len(old.species)
            low, high = wilson(int(right.sum()), len(right))
            found.append(NewSpecies(name, len(right), float(right.mean()), low, high, float(other.mean())))
    return tuple(found)
