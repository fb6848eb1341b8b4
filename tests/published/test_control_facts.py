"""Lawn tolerance and modes of action against the published lists that the rows name."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
import yaml

from model.control import Case, Control, plan
from model.control.facts import Option
from model.control.judge import Matter, judge

HERE = Path(__file__).parent
FACTS = HERE.parents[2] / "shared" / "facts"
BLOCKED = yaml.safe_load((HERE / "blocked.yaml").read_text(encoding="utf-8"))
MODES = yaml.safe_load((HERE / "modes_of_action.yaml").read_text(encoding="utf-8"))
LAWNS = {
    "stenotaphrum_secundatum": "buffalo",
    "cynodon_dactylon": "couch",
    "cenchrus_clandestinus": "kikuyu",
    "zoysia_spp": "zoysia",
    "festuca_arundinacea": "tall_fescue",
    "lolium_perenne": "ryegrass",
    "digitaria_didactyla": "queensland_blue_couch",
}


@pytest.mark.parametrize("row", BLOCKED, ids=lambda row: f"{row['active']} on {row['lawn']}")
def test_an_active_that_injures_a_lawn_is_never_suited_there(row: dict[str, str], control: Control) -> None:
    option = Option(
        method="selective", actives=[row["active"]], do="", when="any", leaves="", source=["CP"], standing="from memory"
    )
    case = Case(("taraxacum_officinale",), 5, row["lawn"])
    suited, reasons = judge(Matter(control, case, "taraxacum_officinale", option))
    assert suited == "no"
    assert any(reason.suited == "no" and row["active"] in reason.text for reason in reasons)


def test_no_plan_suits_an_active_that_injures_the_lawn(control: Control) -> None:
    tried = 0
    for lawn in control.lawns:
        for species in control.treatments:
            for option in plan(control, Case((species,), 5, lawn)).options:
                if any(active.lawn_rating == "injures" for active in option.actives):
                    tried += 1
                    assert option.suited == "no", (species, lawn, option.method)
    assert tried > 500


@pytest.mark.parametrize("row", MODES, ids=lambda row: str(row["active"]))
def test_the_group_is_the_published_one(row: dict[str, object], control: Control) -> None:
    active = control.actives[str(row["active"])]
    assert active.group == row["group"]
    assert active.standing == "published"


def test_every_row_of_the_collected_facts_is_kept(control: Control) -> None:
    """The lists above are the whole of what was collected, and configs/ says the same, row by row."""
    if not FACTS.exists():
        pytest.skip("the collected facts are not beside this repository: a lawn rating lost from configs/ goes unseen")
    with (FACTS / "turf_tolerance.csv").open(encoding="utf-8", newline="") as file:
        rows = [r for r in csv.DictReader(file) if r["species"] in LAWNS]
    assert len(rows) > 300
    for row in rows:
        rating = control.rating(row["active_ingredient"], LAWNS[row["species"]])
        assert (rating.rating if rating else "no-data") == row["rating"], row
    blocked = {(r["active_ingredient"], LAWNS[r["species"]]) for r in rows if r["rating"] == "injures"}
    assert blocked == {(r["active"], r["lawn"]) for r in BLOCKED}
    with (FACTS / "mode_of_action.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            assert control.actives[row["active_ingredient"]].group == int(row["hrac_group"]), row
