"""How the waiting grows with the number of species: floras of 60, 600 and 6,000 made by crossing our own."""

from __future__ import annotations

import random
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from threadpoolctl import threadpool_limits

from app.figures.picture import save_figure
from model.flora.load import Flora, load_flora
from model.identify import Key, Observation, identify
from model.photo.evidence import Classifier
from model.photo.head import Statistics
from model.photo.saved import STARTER, read_model
from model.prior import load_prior
from model.traits import Answers, Likelihoods, load_observer, next_question
from tests.benchmarks.stopwatch import medians, table

if TYPE_CHECKING:
    from matplotlib.figure import Figure

COUNTS = (60, 600, 6000)
ANSWERED = 2  # answers that are given before the question that is timed
TOLD = {
    "question": "next question",
    "identify": "identify, with the next question",
    "photo": "head on one photo's features",
}


class CrossedKey(Key):
    """A key over a flora that is not in files."""

    def __init__(self, flora: Flora) -> None:
        self.flora = flora
        self._observer = load_observer()
        self._aged = {"untold": Likelihoods(flora, self._observer)}
        self.prior_config = load_prior()


def crossed(flora: Flora, count: int, seed: int = 1) -> Flora:
    """``count`` made-up species; each has every character from one of two parents."""
    chance = random.Random(seed)
    parents, species = list(flora.species.values()), {}
    for number in range(count):
        one, other = chance.sample(parents, 2)
        names = sorted({*one.characters, *other.characters})
        characters = {c: chance.choice((one, other)).characters.get(c, "unknown") for c in names}
        made = f"crossed_{number:05}"
        species[made] = one.model_copy(update={"id": made, "characters": characters, "look_alikes": []})
    return Flora(species, flora.characters, flora.sources)


def classifier_of(classes: tuple[str, ...], seed: int = 1) -> Classifier:
    """A head over as many classes as there are species, spread like the starter's."""
    statistics, calibration = read_model(STARTER)
    chance = np.random.default_rng(seed)
    near = statistics.means[chance.integers(len(statistics.means), size=len(classes))]
    means = near + 0.1 * chance.standard_normal(near.shape)
    made = Statistics(classes, np.full(len(classes), 20.0), means, statistics.scatter)
    return Classifier(made, calibration)


@dataclass(frozen=True)
class GrowthFigures:
    """Median milliseconds by number of species; ``made`` are seconds to make the tables of the key, once."""

    by_count: dict[int, dict[str, float]]
    made: dict[int, float]

    def times_as_long(self, what: str) -> float:
        """How many times as long it takes with the most species as with the fewest."""
        counts = list(self.by_count)
        return self.by_count[counts[-1]][what] / self.by_count[counts[0]][what]

    def __str__(self) -> str:
        counts = list(self.by_count)
        rows = [
            [words, *(f"{self.by_count[n][what]:.2f}" for n in counts), f"{self.times_as_long(what):.0f}"]
            for what, words in TOLD.items()
        ]
        rows.append(
            [
                "tables of the key, made once at start",
                *(f"{s * 1000:.0f}" for s in self.made.values()),
                f"{self.made[counts[-1]] / self.made[counts[0]]:.0f}",
            ]
        )
        most = f"times as long at {counts[-1] // counts[0]} times as many"
        return table(["median ms by species", *(f"{n:,}" for n in counts), most], rows)


def growth_figures(rounds: int, counts: tuple[int, ...] = COUNTS) -> GrowthFigures:
    """Measure floras of these sizes, each by itself."""
    flora, by_count, made = load_flora(), {}, {}
    with threadpool_limits(1, "blas"):  # as in the program: so small a sum is done sooner by one thread
        for count in counts:
            many = crossed(flora, count)
            start = time.perf_counter()
            key = CrossedKey(many)
            made[count] = time.perf_counter() - start
            by_count[count] = _times(key, classifier_of(many.ids), rounds)
    return GrowthFigures(by_count, made)


def _times(key: Key, classifier: Classifier, rounds: int) -> dict[str, float]:
    x = classifier.statistics.means[:1]
    evidence = classifier.nothing(())  # undecided, so that there is more to ask
    answers: Answers = {}
    for _ in range(ANSWERED):  # as the first species would be answered for
        question = next_question(key.likelihoods, key.posterior(Observation(answers)), answers)
        if question is None:
            break
        table_ = key.likelihoods.tables[question.character.id]
        answers = {**answers, question.character.id: table_.answers[int(table_.truth[0].argmax())]}
    p = key.posterior(Observation(answers))
    assert identify(key, answers, evidence).next_question is not None
    return medians(
        {
            "question": lambda: next_question(key.likelihoods, p, answers),
            "identify": lambda: identify(key, answers, evidence),
            "photo": lambda: classifier.probabilities(x),
        },
        rounds,
    )


def draw_growth(figures: GrowthFigures, file: Path) -> None:
    """Write the figures as a plot on logarithmic axes."""
    save_figure(lambda: _figure(figures), file, "Waiting by number of species", str(figures))


def _figure(figures: GrowthFigures) -> Figure:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(6.4, 4.2), layout="constrained")
    axis = figure.subplots()
    counts = list(figures.by_count)
    for (what, words), mark in zip(TOLD.items(), "os^", strict=True):
        axis.loglog(counts, [figures.by_count[n][what] for n in counts], f"-{mark}", label=words)
    first = figures.by_count[counts[0]]["identify"]
    axis.loglog(counts, [first * n / counts[0] for n in counts], ":", color="#8a9488", label="linear")
    axis.set(xlabel="species", ylabel="milliseconds, median")
    axis.set_xticks(counts, [f"{n:,}" for n in counts])
    axis.minorticks_off()
    axis.legend(frameon=False)
    return figure
