"""Pretend that a species was never photographed, and see what its drawings are worth on its real photos."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.hint import NOTHING
from model.photo import Calibration, Classifier, fit_statistics
from model.photo.evidence import OTHER
from training.data.dataset import Data
from training.drawn.album import Album
from training.drawn.prototypes import Prototypes, make_prototypes

Array = NDArray[np.float64]
MOST = 400  # photos of one species that are looked at
TEMPERATURES = (0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 1.5, 2.0, 3.0)
WEIGHTS = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9)


@dataclass(frozen=True, eq=False)
class Case:
    """One species that is pretended to be known from drawings only.

    ``field``: its photos are of plants where they grow, with known groups. ``x``: its photos.
    ``others``, ``other_labels``: photos of the other classes of that kind that nothing was fitted on.
    ``classifier``: learned without it. ``candidates``: species without photos, and it.
    """

    species: str
    field: bool
    x: Array
    others: Array
    other_labels: NDArray[np.str_]
    classifier: Classifier
    candidates: tuple[str, ...]


def photographed(data: Data) -> list[str]:
    """The species with photos."""
    return sorted({label for label in data.labels if not label.startswith(OTHER)})


def cases(data: Data, calibration: Calibration, flora: Sequence[str], seed: int = 1) -> list[Case]:
    """One case a photographed species. The calibration's shrinkage, temperature and novelty are taken over."""
    labels, seen = np.array(data.labels), photographed(data)
    in_field = np.array([photo.group_known for photo in data.photos])
    random, found = np.random.default_rng(seed), []
    for species in seen:
        own = random.permutation(np.flatnonzero(labels == species))[:MOST]
        field = bool(in_field[own].all())
        other = np.flatnonzero((labels != species) & (data.parts != "fit") & (in_field == field))
        candidates = tuple(name for name in flora if name == species or name not in seen)
        classifier = _learned_without(data, species, calibration)
        found.append(Case(species, field, data.x[own], data.x[other], labels[other], classifier, candidates))
    return found


def _learned_without(data: Data, species: str, calibration: Calibration) -> Classifier:
    rest = data.where(np.array(data.labels) != species)
    fit = rest.part("fit")
    return Classifier(fit_statistics(fit.x, fit.labels), calibration)


def prototypes_of(case: Case, album: Album) -> Prototypes:
    """Prototypes that no photo of the case's species had a part in."""
    return make_prototypes(album, case.classifier.statistics)


def chances(fits: Array, owners: Sequence[str], candidates: Sequence[str], temperature: float) -> Array:
    """Chance of each candidate by drawings alone, float (photos, candidates), rows sum to 1.

    What fits nothing (a plain lawn) is spread evenly.
    """
    names = np.array(owners)
    columns = [np.logaddexp.reduce(fits[:, names == name] / temperature, axis=1) for name in (*candidates, NOTHING)]
    logs = np.stack(columns, axis=1)
    shares = np.exp(logs - np.logaddexp.reduce(logs, axis=1)[:, None])
    return np.asarray(shares[:, :-1] + shares[:, -1:] / len(candidates))


def factors(chance: Array, other: Array, weight: float) -> Array:
    """What the hint multiplies the evidence of each candidate by, float (photos, candidates), mean 1.

    ``other``: probability that a photo shows none of the species with photos. The surer it
    is that it shows one of them, the less there is to deal out.
    """
    weights = (weight * other)[:, None]
    return np.asarray(1 - weights + weights * chance.shape[1] * chance)


def others_share(case: Case, x: Array) -> Array:
    """Probability that photos show none of the species with photos, when the case's has none."""
    return case.classifier.probabilities(x)[:, -1]


def log_gain(case: Case, prototypes: Prototypes, temperature: float, weight: float) -> Array:
    """ln of what the hint multiplies the right species' evidence by, float (photos,)."""
    chance = chances(prototypes.fits(case.x), prototypes.owners, case.candidates, temperature)
    factor = factors(chance, others_share(case, case.x), weight)
    return np.asarray(np.log(factor[:, case.candidates.index(case.species)]))


def fit_weight(shown: Sequence[tuple[Case, Prototypes]]) -> tuple[float, float]:
    """Temperature and weight with the greatest mean gain, every left-out species counting alike."""
    best, found = -np.inf, (1.0, 0.0)
    fits = [(p.fits(case.x), others_share(case, case.x)) for case, p in shown]
    for temperature in TEMPERATURES:
        told = []
        for (case, p), (fit, other) in zip(shown, fits, strict=True):
            told.append(
                (chances(fit, p.owners, case.candidates, temperature), other, case.candidates.index(case.species))
            )
        for weight in WEIGHTS:
            gains = [np.log(factors(chance, other, weight)[:, column]).mean() for chance, other, column in told]
            if float(np.mean(gains)) > best + 1e-9:
                best, found = float(np.mean(gains)), (temperature, weight)
    return found


def recall_at(own: Array, others: Array, labels: NDArray[np.str_], alarms: float = 0.02) -> float:
    """Share of a species' photos found where ``alarms`` of the others' are, whose classes weigh alike."""
    names, codes = np.unique(labels, return_inverse=True)
    weights = 1.0 / (np.bincount(codes)[codes] * len(names))
    order = np.argsort(-others)
    place = min(int(np.searchsorted(np.cumsum(weights[order]), alarms)), len(order) - 1)
    return float((own > others[order][place]).mean())


def detection(case: Case, prototypes: Prototypes, temperature: float) -> float:
    """Recall at 2 % false alarms of the species among photos of the others, by drawings and `other` together."""

    def score(x: Array) -> Array:
        chance = chances(prototypes.fits(x), prototypes.owners, case.candidates, temperature)
        return np.asarray(np.log(chance[:, case.candidates.index(case.species)] * others_share(case, x) + 1e-300))

    return recall_at(score(case.x), score(case.others), case.other_labels)


def first_right(
    classifier: Classifier,
    photos: Data,
    prototypes: Prototypes,
    candidates: Sequence[str],
    temperature: float,
    weight: float,
) -> NDArray[np.bool_]:
    """Whether the right species comes first on photos of species that the classifier has learned, hint and all."""
    said = classifier.probabilities(photos.x)
    likelihood = classifier.likelihood(said)
    chance = chances(prototypes.fits(photos.x), prototypes.owners, candidates, temperature)
    drawn = (likelihood[:, -1:] * factors(chance, said[:, -1], weight)).max(axis=1)
    own = likelihood[np.arange(len(said)), photos.truth(classifier.species)]
    return np.asarray((own >= likelihood[:, :-1].max(axis=1)) & (own > drawn))
