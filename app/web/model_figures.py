"""The figures of the last training, kept so that they are there another day."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from typing import Any

import numpy as np

from app.present.finding import day_text
from app.services.home import home
from model.storage import replace_file

FILE = "last_training.json"  # in the folder of what may be deleted
KEYS = {"day", "photos", "figures"}  # and since later, what it learned from


def draw_figures(done: Any, name: Callable[[str], str], learned_from: str = "") -> dict[str, Any]:
    """What the model as it was judged takes for what on the photos held out, and its learning curve; kept.

    ``done`` is the Outcome of a training; {} where nothing was held out. ``learned_from`` stands for its photos.
    """
    from app.figures.learning import CONFUSION, CURVE, confusion_svg, curve_svg
    from training.evaluate.learning_curve import learning_curve

    if done.data is None or not done.data.part("held_out").photos:
        return {}
    held = done.data.part("held_out")
    judged = done.learned.grown(done.data.part("fit", "calibrate", "conformal"))
    columns = np.array([*judged.species, "other"])
    predicted = columns[judged.probabilities(held.x).argmax(axis=1)]
    known = set(judged.species)
    shown = [label if label in known else "other" for label in held.labels]

    def called(label: str) -> str:
        return "other plants" if label == "other" else name(label)

    drawn = {
        CONFUSION: confusion_svg([str(label) for label in predicted], shown, called),
        CURVE: curve_svg(learning_curve(done.data, done.learned)),
    }
    figures = [{"title": title, "svg": svg, "words": words} for title, (svg, words) in drawn.items()]
    found = {
        "day": day_text(date.today()),
        "photos": len(held.photos),
        "figures": figures,
        "learned_from": learned_from,
    }
    path = home() / "cache" / FILE
    path.parent.mkdir(parents=True, exist_ok=True)
    replace_file(path, json.dumps(found).encode())
    return found


def last_figures() -> dict[str, Any]:
    """The figures of the last training; {} where there are none that can be read."""
    try:
        found = json.loads((home() / "cache" / FILE).read_bytes())
    except (OSError, ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) and set(found) >= KEYS else {}
