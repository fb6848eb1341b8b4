"""The engine against published keys and tables: given one side's answers, that side comes first."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml

from model.identify import Key, Observation
from model.traits import Visible, check_answers

HERE = Path(__file__).parent
LEADS = [
    (path.stem, entry)
    for path in sorted(HERE.glob("leads*.yaml"))
    for entry in yaml.safe_load(path.read_text(encoding="utf-8"))
]
LOOKALIKES = yaml.safe_load((HERE / "lookalikes.yaml").read_text(encoding="utf-8"))


IN_LEAF: Visible = ("leaves", "roots")


def wrongly_placed(key: Key, entry: dict[str, Any], visible: Visible | None = None) -> list[str]:
    """Species of another side that are not below every species of the side whose answers are given."""
    wrong = []
    for i, side in enumerate(entry["sides"]):
        p = key.posterior(Observation(check_answers(key.flora.characters, side["answers"]), visible=visible))
        others = [s for j, other in enumerate(entry["sides"]) if j != i for s in other["species"]]
        for own in side["species"]:
            for other in others:
                if p[key.index[own]] <= p[key.index[other]]:
                    wrong.append(f"{other} is not below {own} given {side['answers']}")
    return wrong


def test_the_leads_are_many_and_each_is_given_once() -> None:
    files = {stem for stem, _ in LEADS}
    assert "leads" in files and len(files) > 1 and len(LEADS) > 100
    names = [entry["lead"] for _, entry in LEADS]
    assert sorted(names) == sorted(set(names))


@pytest.mark.parametrize(("file", "entry"), LEADS, ids=[f"{file}: {entry['lead']}" for file, entry in LEADS])
def test_each_side_of_a_published_lead_comes_first_on_its_own_answers(
    key: Key, file: str, entry: dict[str, Any]
) -> None:
    """Those of leads.yaml are of plants in flower or fruit too; the others are of leaves, with nothing else to see."""
    assert isinstance(entry["source"], str) and len(entry["source"]) > 5
    assert len(entry["sides"]) >= 2 and all(side["answers"] and side["species"] for side in entry["sides"])
    parts = {key.flora.characters[c].part for side in entry["sides"] for c in side["answers"]}
    assert file == "leads" or parts <= set(IN_LEAF)
    assert wrongly_placed(key, entry, None if file == "leads" else IN_LEAF) == []


@pytest.mark.parametrize("entry", LOOKALIKES, ids=[entry["row"] for entry in LOOKALIKES])
def test_each_look_alike_comes_first_on_its_best_character(key: Key, entry: dict[str, Any]) -> None:
    assert entry["source"]
    assert wrongly_placed(key, entry) == []
