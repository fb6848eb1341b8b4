"""What the hint from drawings is worth, measured with species left out, and what it costs.

    python -m tests.claims.hint_claims ../shared/photos FEATURES.safetensors

prints, as tables: worth by species beside that of 1 to 10 real photos; drawings added to few
photos; cost to the species that have photos; other ways that were tried; more drawings; and how
well a linear probe tells drawing from photo. Field photos come first; seedlings on gravel, which
have no groups, apart. Takes five minutes once the drawings are in the cache (training.drawn.hint).
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import roc_auc_score
from sklearn.model_selection import StratifiedGroupKFold

from model.hint import NOTHING
from model.photo import Classifier, Discriminant, fit_statistics
from model.photo.hint import Hint
from model.photo.saved import STARTER, read_model
from tests.claims.hint_ways import ways
from training.drawn.hint import Material, among, fit_on_grown, gather_material, is_grassy, make_hint
from training.drawn.left_out import (
    Case,
    chances,
    detection,
    factors,
    first_right,
    fit_weight,
    log_gain,
    photographed,
    recall_at,
)
from training.drawn.prototypes import Prototypes, make_prototypes

Array = NDArray[np.float64]
SHOTS = (1, 2, 3, 5, 10)
SEEDS = 5
Pair = tuple[Case, Prototypes]


def row(*cells: object) -> None:
    """One row of a table."""
    print("| " + " | ".join(f"{c:.2f}" if isinstance(c, float) else str(c) for c in cells) + " |", flush=True)


def heading(title: str, *cells: str) -> None:
    """The head of a table."""
    print(f"\n### {title}\n")
    row(*cells)
    row(*("---" for _ in cells))


def shares(case: Case, prototypes: Prototypes, x: Array, temperature: float) -> Array:
    """Chance of each candidate by drawings alone."""
    return chances(prototypes.fits(x), prototypes.owners, case.candidates, temperature)


def with_photos(case: Case, material: Material, shots: int, seed: int) -> tuple[Classifier, Array]:
    """The case's classifier once it has seen so many photos of the species, of other groups; photos to test on."""
    photos = [(i, p.group) for i, p in enumerate(material.data.photos) if p.label == case.species]
    random = np.random.default_rng(seed)
    order = random.permutation(len(photos))
    taken: dict[str, int] = {}
    for i in order:
        if len(taken) < shots:
            taken.setdefault(photos[i][1], photos[i][0])
    statistics = case.classifier.statistics
    for i in taken.values():
        statistics = statistics.add(case.species, material.data.x[i])
    classifier = Classifier(statistics, case.classifier.calibration)
    rest = [photos[i][0] for i in order if photos[i][1] not in taken][: len(case.x)]
    return classifier, material.data.x[rest]


def first_among_all(own: Array, seen: Array, unseen: Array) -> tuple[float, float]:
    """Share of photos whose species is first, and within three, of all; float (photos, others)."""
    ahead = (np.hstack([seen, unseen]) > own[:, None]).sum(axis=1)
    return float((ahead < 1).mean()), float((ahead < 3).mean())


def by_drawings(case: Case, p: Prototypes, temperature: float, weight: float) -> list[float]:
    """First and within three among drawn candidates, then among all; recall; gain; the same for no hint is even."""
    chance = shares(case, p, case.x, temperature)
    column = case.candidates.index(case.species)
    ahead = (chance > chance[:, [column]]).sum(axis=1)
    said = case.classifier.probabilities(case.x)
    drawn = said[:, -1:] * factors(chance, said[:, -1], weight)
    rest = np.delete(drawn, column, axis=1)
    first, three = first_among_all(drawn[:, column], said[:, :-1], rest)
    gain = float(log_gain(case, p, temperature, weight).mean())
    alone = [float((ahead < 1).mean()), float((ahead < 3).mean())]
    return [*alone, first, three, detection(case, p, temperature), gain]


def by_photos(case: Case, p: Prototypes, material: Material, shots: int, temperature: float) -> Array:
    """Recall, and recall with drawings on top: means over draws of the photos."""
    found = []
    for seed in range(SEEDS if case.field else 2):
        classifier, x = with_photos(case, material, shots, seed)
        place, column = classifier.species.index(case.species), case.candidates.index(case.species)
        said, others = classifier.probabilities(x), classifier.probabilities(case.others)
        chance = shares(case, p, x, temperature)
        alone = recall_at(said[:, place], others[:, place], case.other_labels)
        more = chance[:, column] ** 0.5
        more_others = shares(case, p, case.others, temperature)[:, column] ** 0.5
        both = recall_at(said[:, place] * more, others[:, place] * more_others, case.other_labels)
        found.append([alone, both])
    return np.asarray(np.mean(found, axis=0))


def equal_to(value: float, by_shots: Sequence[float]) -> str:
    """How many real photos do as well, interpolated."""
    if value < by_shots[0]:
        return "under 1"
    if value > max(by_shots):
        return f"over {SHOTS[-1]}"
    return f"{float(np.interp(value, np.maximum.accumulate(by_shots), SHOTS)):.1f}"


def worth(pairs: Sequence[Pair], material: Material, temperature: float, weight: float) -> None:
    """The first tables: by species, and beside few real photos."""
    heading(
        "Known from drawings only", "species", "photos", "among", "first", "within 3", "first of all", "3 of all",
        "recall at 2 %", "ln gain", "recall with 1, 2, 3, 5, 10 photos", "worth in photos",
    )  # fmt: skip
    more = []
    for case, p in pairs:
        mine = by_drawings(case, p, temperature, weight)
        real = np.stack([by_photos(case, p, material, k, temperature) for k in SHOTS])
        more.append((case, real))
        row(
            case.species, "field" if case.field else "seedlings", len(case.candidates), *mine,
            " ".join(f"{v:.2f}" for v in real[:, 0]), equal_to(mine[4], list(real[:, 0])),
        )  # fmt: skip
    heading(
        "Few photos, and drawings on top (square root of their chance): recall at 2 %",
        "photos",
        *[f"{c.species}" for c, _ in more],
    )
    for i, k in enumerate(SHOTS):
        row(k, *[f"{real[i, 0]:.2f} → {real[i, 1]:.2f}" for _, real in more])


def crossed(pairs: Sequence[Pair]) -> None:
    """Gain of each field species with temperature and weight fitted on the other ones."""
    heading("Weight fitted without the species itself", "species", "temperature", "weight", "ln gain")
    grown = [pair for pair in pairs if pair[0].field]
    for case, p in grown:
        temperature, weight = fit_weight([(c, q) for c, q in grown if c.species != case.species])
        row(case.species, temperature, weight, float(log_gain(case, p, temperature, weight).mean()))


def cost(hint: Hint, material: Material) -> None:
    """What it costs the species with photos: first choices lost on held-out photos, by weight."""
    classifier = Classifier(*read_model(STARTER))
    held = material.data.part("held_out")
    field = np.array([photo.group_known for photo in held.photos])
    known = np.array([label in classifier.species for label in held.labels])
    names = [s for s in hint.species if s != NOTHING]
    p = Prototypes(tuple(hint.file.owners), hint.prototypes.astype(float), hint.biases)
    other = classifier.probabilities(held.x)[:, -1]
    chance = chances(p.fits(held.x), p.owners, names, hint.file.temperature)
    heading(
        "Cost to species with photos: first choice right, held out", "weight", "field", "seedlings",
        "largest factor", "of a plant outside the flora", "of a species with photos, mean of the largest",
    )  # fmt: skip
    for weight in sorted({0.0, 0.3, 0.5, 0.7, 0.9, hint.file.weight}):
        right = first_right(classifier, held, p, names, hint.file.temperature, weight)
        largest = factors(chance, other, weight).max(axis=1)
        row(
            f"{weight}{' (shipped)' if weight == hint.file.weight else ''}",
            *[f"{right[known & kind].mean():.3f}" for kind in (field, ~field)],
            float(largest.max()), float(largest[~known & field].mean()), float(largest[known & field].mean()),
        )  # fmt: skip


def tried(material: Material, kept: Sequence[str]) -> None:
    """Other ways to the same end, each with the temperature and weight that suit it best."""
    told = [among(c, kept) for c in material.cases if not is_grassy(material.flora, c.species)]
    told.sort(key=lambda c: not c.field)
    heading(
        "Other ways: first, within three, ln gain, recall at 2 %", "way", "temperature", "weight",
        *[c.species for c in told if c.field], "seedlings, mean",
    )  # fmt: skip
    for name, make in ways(material).items():
        pairs = [(c, make(c)) for c in told]
        temperature, weight = fit_on_grown(pairs)
        cells = [by_drawings(c, p, temperature, weight) for c, p in pairs]
        texts = [[v[0], v[1], v[5], v[4]] for v in cells]
        young = np.mean([t for t, c in zip(texts, told, strict=True) if not c.field], axis=0)
        shown = [*[t for t, c in zip(texts, told, strict=True) if c.field], list(young)]
        row(name, temperature, weight, *[" ".join(f"{v:.2f}" for v in t) for t in shown])


def more_drawings(material: Material, kept: Sequence[str], temperature: float, weight: float) -> None:
    """Worth by the number of drawings a species."""
    told = [among(c, kept) for c in material.cases if c.field]
    heading("More drawings: first, within three, ln gain, recall", "drawings", *[c.species for c in told])
    turns = np.array([p.turn for p in material.album.pictures])
    for share in (1 / 5, 2 / 5, 3 / 5, 4 / 5, 1):
        random = np.random.default_rng(1)
        some = random.permutation(turns.max() + 1)[: round(share * (turns.max() + 1))]
        album = material.album.where(np.isin(turns, some))
        cells = []
        for case in told:
            v = by_drawings(case, make_prototypes(album, case.classifier.statistics), temperature, weight)
            cells.append(" ".join(f"{x:.2f}" for x in (v[0], v[1], v[5], v[4])))
        row(len(some), *cells)


def probe(material: Material) -> None:
    """How well a linear probe tells drawing from photo (0.5 is chance), and drawn species from one another."""
    album = material.album.where(~material.album.seedlings)
    field = material.data.where(np.array([p.group_known for p in material.data.photos]))
    x = np.vstack([album.x, field.x])
    y = np.r_[np.zeros(len(album.x)), np.ones(len(field.x))]
    groups = np.r_[album.labels, np.array(field.groups)]
    said = np.zeros(len(x))
    for learn, check in StratifiedGroupKFold(5, shuffle=True, random_state=1).split(x, y, groups):
        middle, size = x[learn].mean(axis=0), x[learn].std(axis=0) + 1e-6
        model = LogisticRegression(C=0.001, max_iter=200, class_weight="balanced")
        said[check] = model.fit((x[learn] - middle) / size, y[learn]).decision_function((x[check] - middle) / size)
    right = np.mean([((said > 0) == y)[y == kind].mean() for kind in (0, 1)])
    turns = np.array([p.turn for p in album.pictures])
    learn = turns % 3 != 0
    head = Discriminant(fit_statistics(album.x[learn], list(album.labels[learn])), 0.2)
    named = np.array(head.classes)[head.scores(album.x[~learn]).argmax(axis=1)]
    heading("Drawing or photo", "linear probe, AUROC", "right", "drawn species told from drawings")
    row(f"{roc_auc_score(y, said):.3f}", f"{right:.3f}", float((named == album.labels[~learn]).mean()))


def main(arguments: list[str]) -> int:
    """PHOTOS FEATURES: print all tables."""
    if len(arguments) != 2:
        sys.stderr.write("usage: python -m tests.claims.hint_claims PHOTOS FEATURES.safetensors\n")
        return 2
    material = gather_material(Path(arguments[0]), Path(arguments[1]))
    hint = make_hint(material)
    seen = photographed(material.data)
    kept = [s for s in hint.species if s != NOTHING] + seen
    pairs = [
        (among(c, kept) if not is_grassy(material.flora, c.species) else c, p)
        for c, p in zip(material.cases, material.prototypes, strict=True)
    ]
    pairs.sort(key=lambda pair: not pair[0].field)
    temperature, weight = hint.file.temperature, hint.file.weight
    print(f"temperature {temperature}, weight {weight}, species {len(hint.species) - 1}")
    worth(pairs, material, temperature, weight)
    crossed(pairs)
    cost(hint, material)
    tried(material, kept)
    more_drawings(material, kept, temperature, weight)
    probe(material)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
