"""The head of a model card: what a program wants to know of a model, as YAML before the Markdown."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

import yaml

from training.data.manifest import LabelledPhoto
from training.recipes.pipeline import Pipeline
from training.recipes.steps import need

DIGITS = 4


def front_matter(work: Pipeline, photos: Iterable[LabelledPhoto], more: dict[str, Any] | None = None) -> str:
    """YAML between two lines of dashes, to stand before the Markdown of a card.

    ``work``: a training that is measured; ``photos``: all that it used; ``more``: what else is
    to be told, of types that YAML has. Raises StepError before measure.
    """
    need("promote", work.done)
    assert work.measured is not None and work.set_figures is not None
    sources: dict[str, dict[str, Any]] = {}
    for photo in photos:
        entry = sources.setdefault(photo.source or "not told", {"photos": 0, "licences": set()})
        entry["photos"] += 1
        entry["licences"].add(photo.licence or "not told")
    told = {
        "species": list(work.species),
        "other": [name.split(":", 1)[1] for name in work.classes if ":" in name],
        "parts": {step: {"photos": len(p.sha256), "groups": len(set(p.groups))} for step, p in work.parts},
        "sources": {name: {**entry, "licences": sorted(entry["licences"])} for name, entry in sorted(sources.items())},
        "held_out": asdict(work.measured),
        "sets": asdict(work.set_figures),
        "rejection": None if work.rejection is None else asdict(work.rejection),
        **(more or {}),
    }
    return f"---\n{yaml.safe_dump(_rounded(told), sort_keys=False, allow_unicode=True)}---\n"


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, DIGITS)
    if isinstance(value, dict):
        return {key: _rounded(inner) for key, inner in value.items()}
    return [_rounded(inner) for inner in value] if isinstance(value, list | tuple) else value
