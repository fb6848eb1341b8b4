"""Two models on the same photos, in the same columns: what the new one may not lose."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.gate.evidence import HeldOut
from training.gate.paired import Difference, paired_difference
from training.gate.rules import GateRules
from training.gate.verdict import Rule

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Pair:
    """Probabilities of the old and the new model, float (photos, species + 1) each, and the right columns."""

    old: Array
    new: Array
    truth: NDArray[np.int64]
    groups: tuple[str, ...]
    species: tuple[str, ...]
    rules: GateRules
    seed: int

    @classmethod
    def of(cls, held_out: HeldOut, species: tuple[str, ...], rules: GateRules, seed: int) -> Pair:
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
        """The low end of the difference may not lie below what may be lost."""
        found, limit = self.difference(), -self.rules.balanced_loss.value
        says = (
            f"{found.value * 100:+.2f} points ({found.low * 100:+.2f} to {found.high * 100:+.2f}); "
            f"the low end must be above {limit * 100:+g}"
        )
        return Rule("balanced accuracy", found.low > limit, found.low, says)

    def single_species(self) -> Rule:
        """No species with enough photos may lose many of them."""
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
        """The right name must stay among the first three."""

        def share(p: Array) -> float:
            return float((np.argsort(-p, axis=1, kind="stable")[:, :3] == self.truth[:, None]).any(axis=1).mean())

        before, after, most = share(self.old), share(self.new), self.rules.top3_loss.value
        says = f"{before:.1%} to {after:.1%}; may lose {most * 100:g} points"
        return Rule("first three", after >= before - most - 1e-12, after - before, says)

    def likelihood(self) -> Rule:
        """A model may not become surer than it is right."""

        def loss(p: Array) -> float:
            return float(-np.log(np.maximum(p[np.arange(len(self.truth)), self.truth], 1e-12)).mean())

        before, after = loss(self.old), loss(self.new)
        growth, slack = self.rules.nll_growth.value, self.rules.nll_slack.value
        says = f"{before:.4f} to {after:.4f} nats; may grow by {growth:.0%} and {slack:g}"
        return Rule("likelihood", after <= before * (1 + growth) + slack, after - before, says)
