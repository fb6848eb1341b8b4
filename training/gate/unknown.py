"""Whether the new model still says `other` to plants that it never learned."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from sklearn.metrics import roc_auc_score

from model.photo.evidence import OTHER
from training.gate.evidence import HeldOut, Judged
from training.gate.rules import GateRules
from training.gate.verdict import Rule

Array = NDArray[np.float64]


def judge_unknown(shared: HeldOut, rules: GateRules) -> list[Rule]:
    """Each class in turn is left out of the head; its photos should then get `other`.

    Two rules: how well P(other) tells them from photos of learned species, by rank; and how
    much of it they get, because ranks do not show a model that no longer doubts anything.
    Classes weigh alike; only those count that both models learned.
    """
    if shared.old.other_left_out is None or shared.new.other_left_out is None:
        return [Rule("unknown species", None, None, "no species was left out")]
    both = np.isfinite(shared.old.other_left_out) & np.isfinite(shared.new.other_left_out)
    labels = np.array(shared.labels)[both]
    species = np.array([not label.startswith(OTHER) for label in labels], dtype=bool)
    if len(set(labels)) < 2 or len(set(labels[species])) < 2:
        return [Rule("unknown species", None, None, "fewer than two species to leave out")]
    (rank_old, doubt_old), (rank_new, doubt_new) = (
        _figures(judged, both, labels, species) for judged in (shared.old, shared.new)
    )
    told = f"told from known ones {rank_old:.3f} to {rank_new:.3f} (area under the curve)"
    given = f"{doubt_old:.3f} to {doubt_new:.3f} nats short of certain that it is other"
    allowed = doubt_old * (1 + rules.unknown_nll_growth.value)
    return [
        Rule(
            "unknown species",
            rank_new >= rank_old - rules.auroc_loss.value - 1e-12,
            rank_new - rank_old,
            f"{told}; may lose {rules.auroc_loss.value:g}",
        ),
        Rule(
            "doubt of unknown species",
            doubt_new <= allowed + 1e-12,
            doubt_new - doubt_old,
            f"{given}; may grow by {rules.unknown_nll_growth.value:.0%}",
        ),
    ]


def _figures(
    judged: Judged, both: NDArray[np.bool_], labels: NDArray[np.str_], species: NDArray[np.bool_]
) -> tuple[float, float]:
    assert judged.other_left_out is not None
    known, left_out = judged.probabilities[both, -1], judged.other_left_out[both]
    ranks, doubts = [], []
    for name in np.unique(labels):
        novel, learned = labels == name, species & (labels != name)
        truth = np.concatenate([np.ones(novel.sum()), np.zeros(learned.sum())])
        ranks.append(roc_auc_score(truth, np.concatenate([left_out[novel], known[learned]])))
        doubts.append(-np.log(np.maximum(left_out[novel], 1e-12)).mean())
    return float(np.mean(ranks)), float(np.mean(doubts))
