"""A training as far as it has got: fit, calibrate, conformalize, measure, promote, in this order.

How the head is fitted is the recipe's business. Here stands what must hold for every recipe:
no step comes before the one it rests on, and no photo or group serves two of them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from model.errors import CollectionError, ModelError
from training.evaluate.measure import Measurement, measure
from training.gate import GateRules, HeldOut, Judged, Origin, Override, Part, Promotion, compare, promote
from training.gate.judge import classes_of, views_of, views_served
from training.head.conformal import LacSets, SetFigures, conformalize, measure_sets, read_sets, save_sets
from training.head.rejection import Rejection
from training.recipes.steps import STEPS, need
from training.registry.models import Registry

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Pipeline:
    """Every verb gives a new one and leaves this as it is.

    ``classes`` in the order of the head, ``species`` in that of the probabilities, whose last
    column is other. ``parts`` are the photos that each step used, by its name.
    """

    classes: tuple[str, ...] = ()
    species: tuple[str, ...] = ()
    parts: tuple[tuple[str, Part], ...] = ()
    rejection: Rejection | None = None
    sets: LacSets | None = None
    measured: Measurement | None = None
    set_figures: SetFigures | None = None

    @property
    def done(self) -> tuple[str, ...]:
        """The steps that are done, in order."""
        return tuple(step for step, _ in self.parts)

    def fit(self, classes: Sequence[str], part: Part) -> Pipeline:
        """The head was fitted on ``part``: ``classes`` in the order of its rows, species ids and `other:<kind>`."""
        species = tuple(c for c in classes if not c.startswith("other:"))
        return replace(Pipeline(tuple(classes), species), parts=(("fit", part),))

    def calibrate(self, part: Part, rejection: Rejection | None = None) -> Pipeline:
        """Temperature and novelty were fitted on ``part``; ``rejection`` by fit_rejection on species left out."""
        return replace(self._after("calibrate", part), rejection=rejection)

    def conformalize(self, probabilities: Array, truth: NDArray[np.int64], part: Part, rules: GateRules) -> Pipeline:
        """Fit LAC sets. ``probabilities`` float (photos, species + 1), calibrated; ``truth`` the right columns."""
        work = self._after("conformalize", part)
        sets = conformalize(
            probabilities,
            truth,
            rules.coverage.value,
            (*self.species, "other"),
            part.groups,
            rules.own_threshold.value,
        )
        return replace(work, sets=sets)

    def measure(
        self, probabilities: Array, truth: NDArray[np.int64], part: Part, draws: int = 200, seed: int = 0
    ) -> Pipeline:
        """Measure on the held-out photos, once; ``measured`` and ``set_figures`` hold the figures."""
        work = self._after("measure", part)
        names = (*self.species, "other")
        assert self.sets is not None  # conformalize is done
        return replace(
            work,
            measured=measure(probabilities, truth, names, part.groups, draws, seed),
            set_figures=measure_sets(self.sets, probabilities, truth, part.groups, seed=seed),
        )

    def save_sets(self, candidate: Path) -> None:
        """Write conformal.json into the folder of the new model. Raises StepError before conformalize."""
        need("measure", self.done)
        assert self.sets is not None
        save_sets(candidate, self.sets)

    def evidence(
        self,
        candidate: Path,
        old: Judged,
        new: Judged,
        labels: Sequence[str],
        near_duplicates: int | None,
        skew: float | None,
        golden_labels: Sequence[str] = (),
    ) -> HeldOut:
        """Both models on the photos that were measured, with how the new one came about.

        ``old``, ``new``: from judge, on these photos in this order; ``labels`` a species id or
        `other:<kind>` each; ``near_duplicates`` and ``skew`` as in Origin; ``golden_labels`` what the
        golden photos show. Raises StepError before measure.
        """
        need("promote", self.done)
        parts = dict(self.parts)
        learned = parts["fit"] + parts["calibrate"] + parts["conformalize"]
        origin = Origin(
            learned=learned,
            held_out=parts["measure"],
            near_duplicates=near_duplicates,
            fitted_classes=self.classes,
            saved_classes=classes_of(candidate),
            views_fitted=views_of(candidate),
            views_served=views_served(),
            skew=skew,
        )
        return HeldOut(tuple(labels), parts["measure"].groups, old, new, self.sets, origin, tuple(golden_labels))

    def promote(
        self,
        registry: Registry,
        candidate: Path,
        held_out: HeldOut,
        rules: GateRules,
        override: Override | None = None,
        check: Callable[[Path], object] = lambda folder: None,
    ) -> Promotion:
        """Compare, and put the new model in charge if the rules allow it; logged either way.

        Raises StepError before measure, ModelError as training.gate.promote does, and where
        the folder holds no sets or those of another training.
        """
        need("promote", self.done)
        if read_sets(candidate) != self.sets:
            raise ModelError(f"{candidate}: does not hold the sets of this training; save them with it first")
        return promote(registry, candidate, compare(held_out, rules), override, check)

    def _after(self, step: str, part: Part) -> Pipeline:
        """With ``part`` used for ``step``, which comes next; what came after an earlier one is undone."""
        need(step, self.done)
        before = tuple((name, used) for name, used in self.parts if STEPS.index(name) < STEPS.index(step))
        for name, used in before:
            photos = set(used.sha256) & set(part.sha256)
            groups = set(used.groups) & set(part.groups)
            if photos or groups:
                what = f"group {sorted(groups)[0]!r}" if groups else f"the photo with sha256 {sorted(photos)[0][:12]}"
                raise CollectionError(f"{what} serves both {name} and {step}; give its photos one group and split anew")
        return replace(self, parts=(*before, (step, part)))
