"""Other ways to a hint, each as prototypes that no photo of the left-out species had a part in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression

from model.hint import NOTHING
from model.identify import Key
from model.photo import fit_statistics
from training.drawn.hint import Material
from training.drawn.left_out import Case
from training.drawn.prototypes import Prototypes, make_prototypes, spread
from training.drawn.scene import PLAIN_LAWN

Array = NDArray[np.float64]


def ways(material: Material) -> dict[str, Callable[[Case], Prototypes]]:
    """All ways by name; the first is the one that is shipped."""
    return {
        "as shipped": lambda c: make_prototypes(material.album, c.classifier.statistics),
        "one prototype a species": lambda c: make_prototypes(material.album, c.classifier.statistics, together=True),
        "spread of drawings instead of photos": lambda c: make_prototypes(
            material.album, fit_statistics(material.album.x, list(material.album.labels)), 0.5
        ),
        "no spread (cosine)": lambda c: make_prototypes(material.album, c.classifier.statistics, 1.0),
        "drawings moved by the mean difference to photos": lambda c: moved(material, c),
        "drawings coloured as photos (CORAL)": lambda c: coral(material, c),
        "direction of the probe taken out": lambda c: probed(material, c),
        "logistic regression on drawings": lambda c: regressed(material, c),
        "no drawings: traits to features by ridge": lambda c: from_traits(material, c),
        "drawings and traits": lambda c: joined(
            make_prototypes(material.album, c.classifier.statistics), from_traits(material, c)
        ),
    }


def middles(material: Material, case: Case) -> tuple[Array, Array]:
    """Mean of field photos without the species, classes alike, and of grown drawings, species alike."""
    fit = material.data.part("fit")
    labels = np.array([f"{p.label} {p.group_known}" for p in fit.photos])
    use = [s for s in sorted(set(labels)) if s.endswith("True") and not s.startswith(case.species)]
    album = material.album.where(~material.album.seedlings & (material.album.labels != PLAIN_LAWN))
    names = sorted(set(album.labels))
    drawn = np.mean([album.x[album.labels == n].mean(axis=0) for n in names], axis=0)
    return np.mean([fit.x[labels == s].mean(axis=0) for s in use], axis=0), drawn


def moved(material: Material, case: Case) -> Prototypes:
    """Photos are moved to the middle of the drawings before they are compared."""
    real, drawn = middles(material, case)
    p = make_prototypes(material.album, case.classifier.statistics)
    return Prototypes(p.owners, p.weights, p.biases - p.weights @ (real - drawn))


def _root(matrix: Array, power: float) -> Array:
    values, axes = np.linalg.eigh(matrix)
    return np.asarray((axes * np.maximum(values, 1e-9) ** power) @ axes.T)


def coral(material: Material, case: Case) -> Prototypes:
    """Drawings get the middle and the spread within species that photos have."""
    real, drawn = middles(material, case)
    album = material.album
    spreads = [
        spread(s, 0.2) * np.trace(s.scatter) / len(s.scatter) / s.counts.sum()
        for s in (case.classifier.statistics, fit_statistics(album.x, list(album.labels)))
    ]
    turned = (album.x - drawn) @ _root(spreads[1], -0.5) @ _root(spreads[0], 0.5) + real
    return make_prototypes(replace(album, x=turned), case.classifier.statistics)


def probed(material: Material, case: Case) -> Prototypes:
    """The direction that tells drawings from photos best counts for nothing."""
    real, drawn = middles(material, case)
    way = np.linalg.solve(spread(case.classifier.statistics, 0.5), real - drawn)
    way /= np.linalg.norm(way)
    p = make_prototypes(material.album, case.classifier.statistics)
    weights = p.weights - np.outer(p.weights @ way, way)
    return Prototypes(p.owners, weights, p.biases + (p.weights - weights) @ drawn)


def regressed(material: Material, case: Case) -> Prototypes:
    """Weights of a logistic regression on the drawings."""
    album = material.album.where(~material.album.seedlings)
    root = _root(spread(case.classifier.statistics, 0.5), -0.5)
    middle = album.x.mean(axis=0)
    x = (album.x - middle) @ root
    size = float(x.std())
    found = LogisticRegression(C=0.01, max_iter=100).fit(x / size, album.labels)
    weights = found.coef_ @ root / size
    owners = tuple(NOTHING if c == PLAIN_LAWN else str(c) for c in found.classes_)
    return Prototypes(owners, weights, found.intercept_ - weights @ middle)


def from_traits(material: Material, case: Case) -> Prototypes:
    """Mean features of a species by ridge regression from its characters, learned on the photographed ones."""
    traits, ids = _traits(), list(material.flora.ids)
    statistics = case.classifier.statistics
    seen = [c for c in statistics.classes if c in ids]
    means = np.stack([statistics.means[statistics.classes.index(c)] for c in seen])
    middle = means.mean(axis=0)
    known = traits[[ids.index(c) for c in seen]]
    dual = np.linalg.solve(known @ known.T + np.eye(len(known)), means - middle)
    away = traits @ known.T @ dual
    weights = np.linalg.solve(spread(statistics, 0.5), away.T).T
    weights /= np.sqrt((weights * away).sum(axis=1))[:, None]
    return Prototypes(tuple(ids), weights, -weights @ middle)


def _traits() -> Array:
    """Characters as numbers, float (species, states), mean square length 1; unknown is the mean."""
    columns = []
    for name, table in Key().likelihoods.tables.items():
        if name == "flowering_month":
            continue
        told = table.known & table.applicable
        truth = table.truth - table.truth[told].mean(axis=0)
        truth[~told] = 0.0
        columns.append(truth / max(float(np.sqrt((truth**2).sum(axis=1).mean())), 1e-9))
    whole = np.concatenate(columns, axis=1)
    return np.asarray(whole / np.sqrt((whole**2).sum(axis=1).mean()))


def joined(p: Prototypes, q: Prototypes) -> Prototypes:
    """Each prototype of a species, with what its traits say added."""
    place = {owner: i for i, owner in enumerate(q.owners)}
    rows = [place.get(owner) for owner in p.owners]
    extra = np.stack([q.weights[r] if r is not None else np.zeros(p.weights.shape[1]) for r in rows])
    biases = np.array([q.biases[r] if r is not None else 0.0 for r in rows])
    return Prototypes(p.owners, p.weights + 0.5 * extra, p.biases + 0.5 * biases)
