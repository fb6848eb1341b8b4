"""The printed key against published keys: what two sides of a lead part, it parts too."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml

from model.identify import Key
from model.printed_key import Couplet, PrintedKey, make_key

LEADS = yaml.safe_load((Path(__file__).parent / "leads.yaml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def printed(key: Key) -> PrintedKey:
    return make_key(key.likelihoods)


@pytest.mark.parametrize("entry", LEADS, ids=[entry["lead"] for entry in LEADS])
def test_plants_on_two_sides_of_a_published_lead_never_end_together(printed: PrintedKey, entry: dict[str, Any]) -> None:
    assert entry["source"]
    sides = [set(side["species"]) for side in entry["sides"]]
    for couplet in printed.couplets:
        for lead in couplet.leads:
            assert sum(bool(side & set(lead.species)) for side in sides) <= 1, lead.species
    for side in sides:
        assert all(printed.ends[species] for species in side)


def leads_past(printed: PrintedKey, couplet: Couplet, answer: tuple[str, ...]) -> bool:
    """Whether nobody who gives the answer gets here: the same was asked on the way, and led elsewhere."""
    here, name = couplet, couplet.character.id
    while here.before is not None:
        before = printed.couplets[here.before - 1]
        lead = next(lead for lead in before.leads if lead.couplet == here.number)
        if before.character.id == name and not lead.takes(answer):
            return True
        here = before
    return False


@pytest.mark.parametrize("entry", LEADS, ids=[entry["lead"] for entry in LEADS])
def test_a_couplet_with_a_published_lead_divides_as_it_does(printed: PrintedKey, entry: dict[str, Any]) -> None:
    """Where the printed key asks for a character of the lead, answers of one side lead to plants of that side."""

    def below(number: int) -> set[str]:
        found: set[str] = set()
        for lead in printed.couplets[number - 1].leads:
            found |= set(lead.species) if lead.couplet is None else below(lead.couplet)
        return found

    for couplet in printed.couplets:
        name = couplet.character.id
        for own in entry["sides"]:
            if name not in own["answers"] or couplet.character.kind != "choice":
                continue
            said = own["answers"][name]
            answer = (said,) if isinstance(said, str) else tuple(said)
            if leads_past(printed, couplet, answer):
                continue
            taken = [lead for lead in couplet.leads if lead.takes(answer)]
            reached = set().union(
                *(set(lead.species) if lead.couplet is None else below(lead.couplet) for lead in taken)
            )
            everybody = below(couplet.number)
            assert set(own["species"]) & everybody <= reached, (couplet.number, answer)
