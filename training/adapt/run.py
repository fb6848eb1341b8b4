"""Run the trials of a recipe, fold by fold, and keep each result as soon as it is there."""

from __future__ import annotations

import hashlib
import json
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import torch

from model.storage import replace_file
from training.adapt.judge import folds_of, judge
from training.adapt.learn import adapt, lesson_of
from training.adapt.nets import State, blend, imagenet, put, save_state, state_of
from training.adapt.pack import Pack
from training.adapt.stock import Stock
from training.adapt.table import ALL
from training.recipes.recipe import StarterRecipe

RESULTS = "results.json"


@dataclass(frozen=True)
class Job:
    """One trial on one fold; ``fold`` None: on all classes, which is what is shipped."""

    trial: str
    fold: int | None

    @property
    def name(self) -> str:
        """As its files and results are called."""
        return f"{self.trial}-{ALL if self.fold is None else self.fold}"


@dataclass(frozen=True)
class Runner:
    """Where trials are run: pictures on a device, a recipe, start weights in ``packed``, and the folder of results."""

    pack: Pack
    stock: Stock
    recipe: StarterRecipe
    packed: Path
    out: Path

    def plan(self, trials: Sequence[str], final: str | None) -> list[Job]:
        """What is to do: each trial on every fold, then the one that is to learn all classes. Raises FloraError."""
        for name in (*trials, *([final] if final else [])):
            self.recipe.trial(name)
        jobs = [Job(trial, fold) for trial in trials for fold in range(self.recipe.folds)]
        return [*jobs, *([Job(final, None)] if final else [])]

    def digest(self, job: Job) -> str:
        """Stands for all that the result depends on: pictures, the trial, and how it is judged."""
        recipe = self.recipe.model_dump(exclude={"trials", "base", "packed", "shipped"}, mode="json")
        parts = [self.pack.digest, self.recipe.trial(job.trial).model_dump(mode="json"), recipe, job.fold]
        return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()[:16]

    def done(self) -> dict[str, Any]:
        """The results that are there, by name of their job."""
        path = self.out / RESULTS
        return dict(json.loads(path.read_text(encoding="utf-8"))) if path.exists() else {}

    def run(self, jobs: Sequence[Job], until: float) -> list[Job]:
        """Do what is not done yet, and give what is left: nothing is begun that would end after ``until``.

        ``until``: a moment of time.monotonic. A job is taken to last as long as the longest before it.
        """
        longest = 0.0
        for number, job in enumerate(jobs):
            results = self.done()
            if results.get(job.name, {}).get("digest") == self.digest(job):
                continue
            begun = time.monotonic()
            if begun + longest > until:
                return [j for j in jobs[number:] if self.done().get(j.name, {}).get("digest") != self.digest(j)]
            results[job.name] = {"digest": self.digest(job), **self._one(job)}
            replace_file(self.out / RESULTS, json.dumps(results, indent=1).encode())
            longest = max(longest, time.monotonic() - begun)
        return []

    def _one(self, job: Job) -> dict[str, Any]:
        trial, begun = self.recipe.trial(job.trial), time.monotonic()
        left_out = frozenset() if job.fold is None else folds_of(self.pack.rows, self.recipe.folds)[job.fold]
        start = imagenet(trial.net, self.packed)
        lesson = lesson_of(self.pack, trial, left_out)

        def said(step: int, loss: float) -> None:
            speed = step * trial.batch * trial.views / (time.monotonic() - begun)
            sys.stderr.write(f"{job.name}: step {step} of {trial.steps}, loss {loss:.3f}, {speed:.0f} views a second\n")

        learned = adapt(self.stock, lesson, trial, start, self.recipe.seed, said)
        seconds, before = time.monotonic() - begun, state_of(start)
        if trial.steps:
            save_state(self.out / f"{job.name}.safetensors", learned)
        judged = {}
        for share in self.recipe.blends if trial.steps else [1.0]:
            judged[str(share)] = self._judged(trial.net, blend(before, learned, share), job, left_out)
        took = {"learning_s": round(seconds, 1), "judging_s": round(time.monotonic() - begun - seconds, 1)}
        learned_from = {"photos": len(lesson.rows), "classes": lesson.classes}
        return {"trial": trial.model_dump(mode="json")} | learned_from | took | {"blends": judged}

    def _judged(self, net: Any, state: State, job: Job, left_out: frozenset[str]) -> dict[str, Any]:
        judged = put(imagenet(net, self.packed), state)
        with torch.no_grad():
            said = judge(judged, self.stock, self.pack, self.recipe, None if job.fold is None else left_out)
        shots = ", ".join(f"{k}: {v['all'][0]:.1%}" for k, v in said["shots"].items() if v)
        sys.stderr.write(f"{job.name}: {shots}\n")
        return said
