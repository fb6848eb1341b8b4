"""Features simulated from the starter's statistics: its species are judged by them where photos of them are few."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from model.photo.evidence import Classifier
from model.photo.head import Statistics
from training.gate.evidence import HeldOut
from training.gate.judge import judge

Array = NDArray[np.float64]
RIDGE = 1e-6  # share of the mean variance, so that directions without any spread can be drawn


def simulate(statistics: Statistics, species: Sequence[str], each: int, seed: int) -> tuple[Array, list[str]]:
    """Features, float (species x each, features), as the statistics have them, and the species of each.

    Classes are Gaussians with one covariance. They show how a new model cuts up what the starter knows, not how
    well it names photos: real ones lie less evenly.
    """
    covariance = statistics.covariance
    covariance.flat[:: len(covariance) + 1] += RIDGE * float(np.trace(covariance)) / len(covariance) + 1e-12
    labels = [name for name in species for _ in range(each)]
    rows = [statistics.classes.index(label) for label in labels]
    noise = np.random.default_rng(seed).standard_normal((len(labels), len(covariance)))
    return statistics.means[rows] + noise @ np.linalg.cholesky(covariance).T, labels


def with_simulated(
    held_out: HeldOut, old: Classifier, new: Classifier, starter: Statistics, each: int, seed: int = 0
) -> HeldOut:
    """With both models judged on ``each`` drawn features of every species that they and the starter know.

    A fine-tuned network has no statistics of these species: of such a model, the head on the shipped features is asked.
    """
    species = [name for name in starter.classes if name in old.species and name in new.species]
    if not species:
        return held_out
    x, labels = simulate(starter, species, each, seed)
    before, after = (
        judge(name, Classifier(model.statistics, model.calibration), x, labels)
        for name, model in ((held_out.old.name, old), (held_out.new.name, new))
    )
    groups = tuple(f"{label} {n}" for n, label in enumerate(labels))
    return replace(held_out, simulated=HeldOut(tuple(labels), groups, before, after, None, held_out.origin))
