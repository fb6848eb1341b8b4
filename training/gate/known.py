"""Species that both models know: judged on their photos, or on the starter's statistics where photos are few."""

from __future__ import annotations

import numpy as np

from training.gate.accuracy import Pair
from training.gate.evidence import HeldOut
from training.gate.rules import GateRules
from training.gate.unknown import judge_unknown
from training.gate.verdict import KnownSpecies, Rule
from training.head.conformal import effective_sample_size


def judge_known(held_out: HeldOut, rules: GateRules, seed: int = 0) -> list[Rule]:
    """Whether the new model keeps what the old one names right.

    With fewer than ``least_photos`` photos of species that both know, nobody can show on them that nothing was lost.
    They still speak where they show a loss clearly; and what the starter's statistics say of its species is compared.
    """
    shared = held_out.where(held_out.known_to_old())
    if len(shared.labels) >= rules.least_photos.value:
        pair = Pair.of(shared, shared.old.species, rules, seed)
        return [*pair.rules_of_accuracy(), *judge_unknown(shared, rules)]
    return [_on_few_photos(shared, rules, seed), _on_statistics(held_out, rules, seed)]


def _on_few_photos(shared: HeldOut, rules: GateRules, seed: int) -> Rule:
    name, count = "known species, few photos", len(shared.labels)
    if effective_sample_size(np.array(shared.groups)) < rules.new_photos.value:
        return Rule(name, None, None, f"{count} held-out photos show nothing either way")
    found, limit = Pair.of(shared, shared.old.species, rules, seed).difference(), -rules.balanced_loss.value
    says = f"{found.value * 100:+.1f} points on {count} photos ({found.low * 100:+.1f} to {found.high * 100:+.1f})"
    lost = found.high < limit
    return Rule(name, False if lost else None, found.high, f"{says}; the high end must not be below {limit * 100:+g}")


def _on_statistics(held_out: HeldOut, rules: GateRules, seed: int) -> Rule:
    name, drawn = "known species, from statistics", held_out.simulated
    if drawn is None or not drawn.labels:
        return Rule(name, None, None, "the starter has no statistics of them")
    pair = Pair.of(drawn, drawn.old.species, rules, seed)
    found = [pair.balanced(), pair.single_species(), pair.first_three()]
    says = "; ".join(f"{rule.name} {rule.says}" for rule in found if rule.passed is False) or found[0].says
    count = len(set(drawn.labels))
    says = f"{count} species as the starter has them, {len(drawn.labels)} drawn: {says}"
    return Rule(name, all(rule.passed is not False for rule in found), found[0].value, says)


def shown_of_both(shared: HeldOut) -> tuple[KnownSpecies, ...]:
    """Each species of which there are photos, with the share that either model names right."""
    labels, found = np.array(shared.labels), []
    for name in shared.old.species:
        here = labels == name
        if here.any() and name in shared.new.species:
            old, new = (
                float((judged.probabilities[here].argmax(axis=1) == judged.species.index(name)).mean())
                for judged in (shared.old, shared.new)
            )
            found.append(KnownSpecies(name, int(here.sum()), old, new))
    return tuple(found)
