"""Models that are worse in ways that happen, each beside the good model it would replace."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from model.photo.evidence import Classifier
from model.photo.head import Statistics
from training.data.dataset import Data
from training.data.manifest import LabelledPhoto
from training.data.split import split
from training.gate import GateRules, HeldOut, Judged, Origin, Part
from training.gate.judge import judge
from training.head.conformal import LacSets, conformalize
from training.recipes.make_starter import learn_starter
from training.recipes.recipe import Recipe, load_recipe

Array = NDArray[np.float64]
VIEWS = "as in use"


@dataclass(frozen=True)
class Bench:
    """Photos in four parts, the recipe, the rules, and the good model that is in charge.

    ``wrong`` are held-out features as faults of preparation make them, with the rows of the
    held-out part that they are of; ``lookalikes`` how many held-out photos look like one in the fit part already.
    """

    data: Data
    recipe: Recipe
    rules: GateRules
    good: Classifier
    wrong: Mapping[str, Array]
    rows: NDArray[np.int64]
    lookalikes: int = 0

    @property
    def held_out(self) -> Data:
        return self.data.part("held_out")

    def fit(self, change: Callable[[list[str], NDArray[np.str_]], list[str]]) -> Classifier:
        """Train anew with labels that ``change`` makes of labels and parts; "" leaves a photo out."""
        labels = change(self.data.labels, self.data.parts)
        keep = np.array([label != "" for label in labels])
        photos = tuple(replace(p, label=label) for p, label in zip(self.data.photos, labels, strict=True))
        return learn_starter(Data(self.data.x, photos, self.data.parts).where(keep), self.recipe).classifier

    def sets(self, classifier: Classifier, part: str = "conformal") -> LacSets:
        """Sets of a model, from the conformal photos that show what it knows."""
        data = self.data.part(part)
        return conformalize(
            classifier.probabilities(data.x),
            data.truth(classifier.species),
            self.rules.coverage.value,
            (*classifier.species, "other"),
            data.groups,
            self.rules.own_threshold.value,
        )

    def origin(self, classifier: Classifier) -> Origin:
        """An origin without fault; photos are known by their names."""
        learned = self.data.part("fit", "calibrate", "conformal")
        parts = [Part(tuple(d.groups), tuple(p.name for p in d.photos)) for d in (learned, self.held_out)]
        classes = classifier.statistics.classes
        return Origin(parts[0], parts[1], self.lookalikes, classes, classes, VIEWS, VIEWS, 0.0)

    def against(self, new: Classifier, name: str = "new") -> HeldOut:
        """The good model and a new one on all held-out photos."""
        data = self.held_out
        old = judge("old", self.good, data.x, data.labels)
        judged = judge(name, new, data.x, data.labels)
        labels, groups = tuple(data.labels), tuple(data.groups)
        return HeldOut(labels, groups, old, judged, self.sets(new), self.origin(new))


def bench(
    data: Data,
    recipe: Recipe,
    rules: GateRules,
    wrong: Mapping[str, Array],
    rows: NDArray[np.int64],
    lookalikes: int = 0,
) -> Bench:
    """A bench whose good model is trained by the recipe."""
    return Bench(data, recipe, rules, learn_starter(data, recipe).classifier, wrong, rows, lookalikes)


def planted(bench: Bench) -> Iterator[tuple[str, HeldOut]]:
    """Every regression by its name, with what the gate gets to see of it."""
    yield from _labels(bench)
    yield from _preparation(bench)
    yield from _confidence(bench)
    yield from _order(bench)
    yield from _leaks(bench)
    yield from _damage(bench)


def _labels(bench: Bench) -> Iterator[tuple[str, HeldOut]]:
    species = bench.good.species
    random = np.random.default_rng(5)

    def everywhere(change: Callable[[str], str]) -> Callable[[list[str], NDArray[np.str_]], list[str]]:
        def of(labels: list[str], parts: NDArray[np.str_]) -> list[str]:
            return [label if part == "held_out" else change(label) for label, part in zip(labels, parts, strict=True)]

        return of

    first, second = species[0], species[1]
    yield (
        "two species swapped",
        bench.against(bench.fit(everywhere(lambda s: {first: second, second: first}.get(s, s)))),
    )
    turn = dict(zip(species, (*species[1:], species[0]), strict=True))
    yield "all labels one further", bench.against(bench.fit(everywhere(lambda s: turn.get(s, s))))
    yield (
        "a third of the labels at random",
        bench.against(
            bench.fit(everywhere(lambda s: str(random.choice(np.array(species))) if random.random() < 1 / 3 else s))
        ),
    )
    yield "a species gone", bench.against(bench.fit(everywhere(lambda s: "" if s == second else s)))
    yield "a species called other", bench.against(bench.fit(everywhere(lambda s: "other:mixed" if s == second else s)))
    some = iter(range(10**6))
    yield "a species from three photos", bench.against(
        bench.fit(lambda labels, parts: [
            "" if s == second and p == "fit" and next(some) >= 3 else s for s, p in zip(labels, parts, strict=True)
        ])
    )  # fmt: skip
    yield "no plants outside the flora", bench.against(bench.fit(everywhere(lambda s: "" if ":" in s else s)))
    yield "a twentieth of the photos", bench.against(
        bench.fit(lambda labels, parts: [
            "" if p == "fit" and n % 20 and labels[:n].count(s) >= 2 else s
            for n, (s, p) in enumerate(zip(labels, parts, strict=True))
        ])
    )  # fmt: skip


def _preparation(bench: Bench) -> Iterator[tuple[str, HeldOut]]:
    """Features of other pixels than the model learned from; only the figures can tell."""
    data = bench.held_out.where(np.isin(np.arange(len(bench.held_out.photos)), bench.rows))
    whole = bench.against(bench.good)
    old = judge("old", bench.good, data.x, data.labels)
    for name, x in bench.wrong.items():
        new = judge(name, bench.good, x, data.labels)
        origin = replace(whole.origin, skew=None)
        yield name, HeldOut(tuple(data.labels), tuple(data.groups), old, new, whole.sets, origin)
    yield "other views declared", replace(whole, origin=replace(whole.origin, views_fitted="views of 224 px"))


def _confidence(bench: Bench) -> Iterator[tuple[str, HeldOut]]:
    good = bench.good
    for name, factor in (("three times too sure", 1 / 3), ("four times too unsure", 4.0)):
        spoilt = replace(good.calibration, temperature=good.calibration.temperature * factor)
        yield name, bench.against(Classifier(good.statistics, spoilt))
    mean, spread, new_mean, new_spread = good.calibration.novelty
    blind = replace(good.calibration, novelty=(mean + 3, spread, new_mean + 3, new_spread))
    yield "sees nothing as strange", bench.against(Classifier(good.statistics, blind))
    whole = bench.against(good)
    sets = bench.sets(good)
    low = tuple(cell.model_copy(update={"threshold": 1 - (1 - cell.threshold) / 8}) for cell in sets.cells)
    yield "sets that promise too much", replace(whole, sets=sets.model_copy(update={"cells": low}))


def _order(bench: Bench) -> Iterator[tuple[str, HeldOut]]:
    whole, good = bench.against(bench.good), bench.good
    stale = (*good.species[2:], *good.species[:2])
    judged = replace(whole.new, species=stale)
    classes = (*stale, *(c for c in good.statistics.classes if ":" in c))
    # An order that the folder tells, and one that nothing tells but the figures.
    told = replace(whole.origin, saved_classes=classes)
    yield "labels in an old order", replace(whole, new=whole.new, origin=told)
    sets = conformalize_as(judged, bench)
    yield "labels in an old order, not told", replace(whole, new=judged, sets=sets)


def redealt(bench: Bench, seed: int) -> HeldOut:
    """The good model against itself, on another deal of the groups that it has not learned from.

    Conformal and held-out groups are dealt anew, and the held-out ones drawn with replacement.
    """
    random = np.random.default_rng(seed)
    pool = bench.data.part("conformal", "held_out")
    names = random.permutation(sorted(set(pool.groups)))
    cut = round(len(names) * len(set(bench.data.part("conformal").groups)) / len(names))
    where = np.array(pool.groups)
    conformal = pool.where(np.isin(where, names[:cut]))
    drawn = random.choice(names[cut:], len(names) - cut)
    rows = np.concatenate([np.flatnonzero(where == name) for name in drawn])
    times = np.concatenate([np.full((where == name).sum(), n) for n, name in enumerate(drawn)])
    labels = tuple(np.array(pool.labels)[rows].tolist())
    # A group that is drawn twice stands for two groups that are alike.
    groups = tuple(f"{where[row]} {n}" for row, n in zip(rows, times, strict=True))
    p, truth = bench.good.probabilities(conformal.x), conformal.truth(bench.good.species)
    rules = bench.rules
    names_of = (*bench.good.species, "other")
    sets = conformalize(p, truth, rules.coverage.value, names_of, conformal.groups, rules.own_threshold.value)
    old, new = (judge(name, bench.good, pool.x[rows], labels) for name in ("old", "new"))
    held_out = Part(groups, tuple(f"{pool.photos[row].name} {n}" for row, n in zip(rows, times, strict=True)))
    origin = replace(bench.origin(bench.good), held_out=held_out, near_duplicates=0)
    return HeldOut(labels, groups, old, new, sets, origin)


def conformalize_as(judged: Judged, bench: Bench) -> LacSets:
    """Sets of a model whose columns bear the names in ``judged``."""
    data = bench.data.part("conformal")
    p = bench.good.probabilities(data.x)
    return conformalize(p, data.truth(judged.species), bench.rules.coverage.value, (*judged.species, "other"))


def _leaks(bench: Bench) -> Iterator[tuple[str, HeldOut]]:
    data = bench.data
    everything = replace(data, parts=np.where(data.parts == "held_out", "fit", data.parts))
    greedy = learn_starter(everything, bench.recipe).classifier
    whole = bench.against(greedy)
    origin = whole.origin
    both = replace(origin, learned=origin.learned + origin.held_out)
    yield "held-out photos learned from", replace(whole, origin=both)
    copied = replace(origin, near_duplicates=len(origin.held_out.sha256))
    yield "copies of held-out photos learned from", replace(whole, origin=copied)
    torn = Part(origin.held_out.groups[:1], ("another photo of it",))
    yield "one group in two parts", replace(bench.against(bench.good), origin=replace(origin, learned=torn))


def _damage(bench: Bench) -> Iterator[tuple[str, HeldOut]]:
    good, statistics = bench.good, bench.good.statistics

    def with_means(means: Array) -> Classifier:
        return Classifier(
            Statistics(statistics.classes, statistics.counts, means, statistics.scatter), good.calibration
        )

    row = statistics.classes.index(good.species[2])
    zeroed = statistics.means.copy()
    zeroed[row] = 0.0
    yield "one row of the head zeroed", bench.against(with_means(zeroed))
    whole = bench.against(good)
    broken = whole.new.probabilities.copy()
    broken[3] = np.nan
    yield "numbers that are not finite", replace(whole, new=replace(whole.new, probabilities=broken))


def made_up(recipe: Recipe, seed: int = 3, groups: int = 60, apart: float = 1.1) -> Data:
    """Features of four species and two kinds of other, float (photos, 20), in groups of four that are alike."""
    random = np.random.default_rng(seed)
    rows, photos = [], []
    for label, centre in centres(seed).items():
        for group in range(groups):
            middle = centre * apart + random.normal(0, 0.6, 20)
            for n in range(4):
                name = f"{label}/{group}/{n}.jpg"
                rows.append(middle + random.normal(0, 0.6, 20))
                photos.append(LabelledPhoto(Path(name), name, label, f"{label}-{group}", True, "made up", "us", "ours"))
    return Data(np.stack(rows), tuple(photos), np.array(split(photos, recipe.shares, recipe.seed)))


def centres(seed: int) -> dict[str, Array]:
    """The middle of each class of made-up photos."""
    random = np.random.default_rng(seed + 1000)
    return {label: random.normal(0, 0.55, 20) for label in ("a", "b", "c", "d", "other:x", "other:y")}


def made_up_bench(rules: GateRules, seed: int = 3) -> Bench:
    """A bench of made-up photos, with faults of preparation that change features as real ones do: a lot."""
    recipe = load_recipe("quick")
    data = made_up(recipe, seed)
    x = data.part("held_out").x
    wrong = {
        "channels swapped": x[:, ::-1],
        "scaled by half": x * 0.5,
        "shifted": x + 0.8,
        "noise": x + np.random.default_rng(1).normal(0, 1.2, x.shape),
    }
    return bench(data, recipe, rules, wrong, np.arange(len(x)))
