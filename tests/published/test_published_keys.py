"""The engine against published keys and tables: given one side's answers, that side comes first."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml

from model.identify import Key
from model.traits import check_answers

HERE = Path(__file__).parent
LEADS = yaml.safe_load((HERE / "leads.yaml").read_text(encoding="utf-8"))
LOOKALIKES = yaml.safe_load((HERE / "lookalikes.yaml").read_text(encoding="utf-8"))


def wrongly_placed(key: Key, entry: dict[str, Any]) -> list[str]:
    """Species of another side that are not below every species of the side whose answers are given."""
    wrong = []
    for i, side in enumerate(entry["sides"]):
        p = key.posterior(check_answers(key.flora.characters, side["answers"]))
        others = [s for j, other in enumerate(entry["sides"]) if j != i for s in other["species"]]
        for own in side["species"]:
            for other in others:
                if p[key.index[own]] <= p[key.index[other]]:
                    wrong.append(f"{other} is not below {own} given {side['answers']}")
    return wrong


@pytest.mark.parametrize("entry", LEADS, ids=[entry["lead"] for entry in LEADS])
def test_each_side_of_a_published_lead_comes_first_on_its_own_answers(key: Key, entry: dict[str, Any]) -> None:
    assert entry["source"]
    assert wrongly_placed(key, entry) == []


@pytest.mark.parametrize("entry", LOOKALIKES, ids=[entry["row"] for entry in LOOKALIKES])
def test_each_look_alike_comes_first_on_its_best_character(key: Key, entry: dict[str, Any]) -> None:
    assert entry["source"]
    assert wrongly_placed(key, entry) == []
