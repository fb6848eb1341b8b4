"""The model card: what a model has learned from, how it was measured, and what it cannot do."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

import yaml

from model.photo.evidence import Classifier
from training.collection.credits import creators_as_markdown, creators_by_licence
from training.data.manifest import LabelledPhoto
from training.evaluate.measure import Measurement
from training.head.fit import Learned
from training.recipes.evaluation import Evaluation

DIGITS = 4  # of the figures for programs


def card(
    introduction: str,
    work: Evaluation,
    classifier: Classifier,
    learned: Learned,
    photos: Sequence[LabelledPhoto],
    further: Mapping[str, Measurement] | None = None,
    auroc: Mapping[str, float] | None = None,
    notes: str = "",
) -> str:
    """The whole card: YAML for programs between two lines of dashes, then Markdown.

    ``classifier``: the model as it was measured; ``photos``: all that the training used; ``further``: figures of
    other selections of the held-out photos; ``auroc``: how well novelty shows a class that was never learned;
    ``notes``: Markdown for the end.
    """
    figures = {"all": work.evaluation.figures, **(further or {}), **work.evaluation.by_source}
    parts = [
        introduction,
        _sources(photos, work),
        _figures(figures),
        _classes(classifier, figures["all"], auroc or {}),
        _fitted(classifier, learned),
        creators_as_markdown(creators_by_licence(photos)),
        notes,
    ]
    return front_matter(work, photos) + "\n".join(parts)


def front_matter(work: Evaluation, photos: Sequence[LabelledPhoto]) -> str:
    """What a program wants to know of a model, as YAML between two lines of dashes."""
    sources: dict[str, dict[str, Any]] = {}
    for photo in photos:
        entry = sources.setdefault(photo.origin or "not given", {"photos": 0, "licences": set()})
        entry["photos"] += 1
        entry["licences"].add(photo.licence or "not given")
    sets = work.evaluation.sets
    facts = {
        "species": list(work.species),
        "other": [name.split(":", 1)[1] for name in work.classes if ":" in name],
        "parts": {step: {"photos": len(p.sha256), "groups": len(set(p.groups))} for step, p in work.parts.items()},
        "sources": {name: {**entry, "licences": sorted(entry["licences"])} for name, entry in sorted(sources.items())},
        "credits": creators_by_licence(photos),
        "held_out": asdict(work.evaluation.figures),
        "sets": None if sets is None else asdict(sets),
    }
    return f"---\n{yaml.safe_dump(_rounded(facts), sort_keys=False, allow_unicode=True)}---\n"


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, DIGITS)
    if isinstance(value, dict):
        return {key: _rounded(inner) for key, inner in value.items()}
    return [_rounded(inner) for inner in value] if isinstance(value, list | tuple) else value


def _sources(photos: Sequence[LabelledPhoto], work: Evaluation) -> str:
    rows = Counter((p.origin, p.licence, p.group_known) for p in photos)
    lines = ["## Learned from", "", "| source | licence | photos | groups |", "|---|---|---|---|"]
    for (source, licence, known), count in sorted(rows.items()):
        lines.append(f"| {source} | {licence} | {count} | {'known' if known else 'not known: split by photo'} |")
    split = ", ".join(f"{step} {len(p.sha256)} ({len(set(p.groups))} groups)" for step, p in work.parts.items())
    return "\n".join([*lines, "", f"Photos of each step, split by group: {split}.", ""])


def _figures(figures: Mapping[str, Measurement]) -> str:
    lines = [
        "## Held-out figures",
        "",
        "ECE is to be read against its null: the 95th percentile of a perfectly calibrated model on as many photos.",
        "",
        "| photos of | photos | groups | top-1 | balanced | top-3 | NLL | ECE | null |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for name, m in figures.items():
        lines.append(
            f"| {name} | {m.photos} | {m.groups} | {m.top1:.3f} | {m.balanced_top1:.3f} | {m.top3:.3f} "
            f"| {m.nll:.3f} | {m.ece:.3f} | {m.ece_null:.3f} |"
        )
    off = ", ".join(name for name, m in figures.items() if m.ece > m.ece_null)
    verdict = f"Calibration is off, by more than chance, on: {off}." if off else "Calibration is within chance."
    return "\n".join([*lines, "", verdict, ""])


def _classes(classifier: Classifier, figures: Measurement, auroc: Mapping[str, float]) -> str:
    lines = [
        "## By class",
        "",
        "Recall held out; where it was measured, how well novelty shows a class never learned (AUROC, 0.5 is chance).",
        "",
        "| class | learned from | recall | AUROC if unseen |",
        "|---|---|---|---|",
    ]
    for name, count in zip(classifier.statistics.classes, classifier.statistics.counts, strict=True):
        recall = figures.per_class.get(name if name in classifier.species else "other")
        text = "-" if recall is None else f"{recall:.3f}" + ("" if name in classifier.species else " (all of `other`)")
        lines.append(f"| {name} | {int(count)} | {text} | {f'{auroc[name]:.3f}' if name in auroc else '-'} |")
    return "\n".join([*lines, ""])


def _fitted(classifier: Classifier, learned: Learned) -> str:
    c = classifier.calibration
    return (
        "## Fitted values\n\n"
        f"weight of the starter's scatter {learned.weight:g}, shrinkage {c.shrinkage:g}; "
        f"calibrated on {learned.calibrated_on} photos: temperature {c.temperature:.2f}; novelty score "
        f"of learned classes {c.novelty[0]:.3f} +- {c.novelty[1]:.3f}, "
        f"of classes left out {c.novelty[2]:.3f} +- {c.novelty[3]:.3f}; "
        f"floor {c.floor:.3f}; dependence {c.dependence:.2f}.\n"
    )
