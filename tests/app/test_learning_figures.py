"""The figures of a training: what is taken for what, the learning curve, and that they are kept."""

from __future__ import annotations

import json
from types import SimpleNamespace
from typing import Any
from xml.etree import ElementTree

import numpy as np

from app.figures.learning import CONFUSION, CURVE, confusion_svg, curve_svg
from app.services.home import home
from app.web.model_figures import FILE, draw_figures, last_figures
from training.evaluate.learning_curve import Point


def test_confusion_caption_lists_the_most_frequent_errors() -> None:
    shown = ["bindii"] * 5 + ["clover"] * 4 + ["other"]
    said = ["bindii"] * 3 + ["clover"] * 2 + ["clover"] * 3 + ["bindii"] + ["other"]
    svg, words = confusion_svg(said, shown, lambda label: f"<{label}>")
    assert words.startswith("7 of 10 photos were named right; <bindii> was taken for <clover> 2 times")
    assert words.endswith("<clover> was taken for <bindii> once.")
    root = ElementTree.fromstring(svg)
    told = " ".join(root.itertext())
    assert CONFUSION in told and "<bindii>" in told and words in told, "text stays text, and nothing becomes markup"


def test_a_faultless_model_has_no_mistakes_to_tell() -> None:
    assert confusion_svg(["a", "b"], ["a", "b"], str)[1] == "2 of 2 photos were named right."


def test_two_figures_on_a_page_have_names_of_their_own() -> None:
    one, _ = confusion_svg(["a"], ["a"], str)
    other, words = curve_svg([Point(10, 0.5, 0.4, 0.6), Point(40, 0.75, 0.75, 0.75)])
    assert words == "Named right of the photos held out: 50% from 10 photos, 75% from 40 photos."
    labelled = [ElementTree.fromstring(svg).get("aria-labelledby", "") for svg in (one, other)]
    assert len({*labelled[0].split(), *labelled[1].split()}) == 4 and CURVE in other


def outcome() -> Any:
    held = SimpleNamespace(photos=("p",) * 3, x=np.zeros((3, 2)), labels=["bindii", "bindii", "other:sunflower"])
    none = SimpleNamespace(photos=())
    judged = SimpleNamespace(
        species=("bindii",), probabilities=lambda x: np.array([[0.9, 0.1], [0.2, 0.8], [0.1, 0.9]])
    )
    data = SimpleNamespace(part=lambda *names: held if names == ("held_out",) else none)
    return SimpleNamespace(data=data, learned=SimpleNamespace(grown=lambda part: judged))


def test_figures_are_kept_for_another_day(monkeypatch: Any) -> None:
    monkeypatch.setattr(
        "training.evaluate.learning_curve.learning_curve", lambda data, learned: (Point(9, 0.6, 0.6, 0.6),)
    )
    assert last_figures() == {}
    made = draw_figures(outcome(), lambda label: label)
    assert last_figures() == made and made["photos"] == 3
    assert made["figures"][0]["words"].startswith("2 of 3 photos")
    (home() / "cache" / FILE).write_text(json.dumps({"day": "x"}))
    assert last_figures() == {}


def test_nothing_held_out_is_nothing_to_draw() -> None:
    assert draw_figures(SimpleNamespace(data=None), str) == {}
