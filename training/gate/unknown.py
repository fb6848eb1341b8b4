"""Whether the new model still says `other` to plants that it never learned."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from model.photo.evidence import OTHER
from training.evaluate.measure import auroc
from training.gate.evidence import HeldOut
from training.gate.rules import GateRules
from training.gate.verdict import Rule

Array = NDArray[np.float64]
Labels = NDArray[np.str_]


def judge_unknown(shared: HeldOut, rules: GateRules) -> list[Rule]:
    """Each class in turn is left out of the head; its photos should then get `other`.

    Two rules: how well P(other) separates them from photos of learned species, by rank; and how
    much of it they get, because ranks do not show a model that no longer doubts anything.
    Classes weigh alike; only those count that both models learned.
    """
    left_out = [judged.other_left_out for judged in (shared.old, shared.new)]
    if left_out[0] is None or left_out[1] is None:
        return [Rule("unknown species", None, None, "no species was left out")]
    both = np.isfinite(left_out[0]) & np.isfinite(left_out[1])
    labels = np.array(shared.labels)[both]
    if len(set(labels)) < 2 or len({label for label in labels if not label.startswith(OTHER)}) < 2:
        return [Rule("unknown species", None, None, "fewer than two species to leave out")]
    (rank_old, doubt_old), (rank_new, doubt_new) = (
        _figures(judged.probabilities[both, -1], other[both], labels)
        for judged, other in zip((shared.old, shared.new), (left_out[0], left_out[1]), strict=True)
    )
    lost, growth = rules.auroc_loss.value, rules.unknown_nll_growth.value
    ranks = f"area under the curve against known ones {rank_old:.3f} to {rank_new:.3f}; may lose {lost:g}"
    doubts = f"{doubt_old:.3f} to {doubt_new:.3f} nats short of certain that it is other; may grow by {growth:.0%}"
    return [
        Rule("unknown species", rank_new >= rank_old - lost - 1e-12, rank_new - rank_old, ranks),
        Rule("doubt of unknown species", doubt_new <= doubt_old * (1 + growth) + 1e-12, doubt_new - doubt_old, doubts),
    ]


def _figures(other: Array, left_out: Array, labels: Labels) -> tuple[float, float]:
    """Area under the curve, and nats short of certain, each as the mean over classes left out."""
    species = np.array([not label.startswith(OTHER) for label in labels])
    ranks, doubts = [], []
    for name in np.unique(labels):
        novel, learned = labels == name, species & (labels != name)
        ranks.append(auroc(left_out[novel], other[learned]))
        doubts.append(-np.log(np.maximum(left_out[novel], 1e-12)).mean())
    return float(np.mean(ranks)), float(np.mean(doubts))
