"""What a state's spray record asks for, and what is missing."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time, timedelta
from pathlib import Path

import pytest

from app.records import Product, Reading, Treatment, field_names, keep_until, missing_fields, prompts, write_up_by
from app.records.law import load_law
from model.control import Control
from model.errors import FloraError
from model.flora.load import CONFIGS

DAY = date(2026, 3, 2)


def in_state(treatment: Treatment, state: str) -> Treatment:
    return replace(treatment, state=state)  # type: ignore[arg-type]


def lacking(treatment: Treatment, state: str) -> set[str]:
    return {lack.field for lack in missing_fields(in_state(treatment, state))}


# Fields by state: NSW EPA with the Pesticides Regulation 2017 (NSW) cl 35-37; Department of Primary Industries
# Victoria; DPIRD (WA); NT Government. The names on the right are ours.
ASKED = {
    "NSW": {
        *("day", "name", "situation", "rate", "total_amount", "address", "treated_area"),
        *("applicator", "applicator_address", "applicator_contact"),
        *("business", "business_address", "business_contact", "wind_speed", "wind_direction"),
        "licensed",  # not published as a field, but it decides which others are asked
    },
    "VIC": {
        *("day", "name", "rate", "situation", "treated_area", "address", "applicator", "client"),
        *("wind_speed", "wind_direction"),
    },
    "WA": {
        *("day", "started", "client", "client_contact", "applicator", "applicator_contact"),
        *("address", "name", "method", "rate", "situation"),
    },
    "NT": {
        *("applicator", "name", "approval_number", "expiry", "business", "licence", "client", "rate", "total_amount"),
        *("method", "equipment", "day", "started", "finished", "address", "treated_area", "plants"),
        *("temperature", "wind_speed", "wind_direction", "target", "withholding"),
    },
}


@pytest.mark.parametrize("state", ASKED)
def test_a_state_asks_for_what_its_regulator_publishes(state: str) -> None:
    assert lacking(Treatment(visit=1, day=DAY), state) == ASKED[state] - {"day"}


@pytest.mark.parametrize("state", ["QLD", "SA", "TAS", "ACT", ""])
def test_where_the_list_is_not_confirmed_the_union_is_asked(state: str) -> None:
    empty = Treatment(visit=1, day=DAY)
    assert lacking(empty, state) == set().union(*ASKED.values()) - {"day"}
    given = replace(empty, left_out={"expiry": "none on the container", "rate": "  "})
    assert lacking(empty, state) - lacking(given, state) == {"expiry"}


def test_leaving_out_with_a_reason_counts_only_where_the_list_is_not_confirmed() -> None:
    assert "rate" in lacking(Treatment(visit=1, day=DAY, left_out={"rate": "forgot"}), "NSW")


def test_wind_and_licence_have_their_conditions() -> None:
    spray = Treatment(visit=1, day=DAY, gear="hand_spray")
    assert "wind_speed" in lacking(spray, "NSW") and "wind_speed" not in lacking(spray, "VIC")
    assert "wind_speed" not in lacking(replace(spray, outdoors=False), "NSW")
    assert "wind_speed" not in lacking(replace(spray, gear="wiper"), "NSW")
    assert "wind_speed" in lacking(replace(spray, gear=""), "VIC")
    of_licensed = {"equipment", "started", "order_treated", "occupier"}
    for told in (replace(spray, licence="L"), replace(spray, licensed="yes")):
        assert of_licensed <= lacking(told, "NSW") and "licensed" not in lacking(told, "NSW")
    for told in (replace(spray, licensed="no"), spray, replace(spray, licence="L", licensed="no")):
        assert not of_licensed & lacking(told, "NSW")
    assert "licensed" in lacking(spray, "NSW") and "licensed" not in lacking(spray, "VIC")


def test_each_product_needs_its_own_and_an_area_in_numbers_is_one() -> None:
    two = Treatment(visit=1, day=DAY, products=(Product(name="a", rate="1 mL/L"), Product(name="b")), area_m2=3.0)
    missing = missing_fields(in_state(two, "VIC"))
    assert [lack.text for lack in missing if lack.field == "rate"] == [
        "the rate with its unit, from the label (product 2)"
    ]
    assert "treated_area" not in lacking(two, "VIC")


def test_a_calm_is_a_reading_and_blanks_are_none() -> None:
    calm = Treatment(visit=1, day=DAY, weather=(Reading(wind_speed=0, wind_direction="calm"),), client="  ")
    assert "wind_speed" not in lacking(calm, "VIC") and "client" in lacking(calm, "VIC")


def test_work_without_a_chemical_falls_under_no_law_of_sprays() -> None:
    assert lacking(Treatment(visit=1, day=DAY, chemical=False, method="by hand", applicator="Kim"), "NT") == set()


def test_prompts_are_never_refusals() -> None:
    assert [p.field for p in prompts(in_state(Treatment(visit=1, day=DAY), "NT"))] == ["permit"]
    assert prompts(in_state(Treatment(visit=1, day=DAY, permit="P1"), "NT")) == ()


def test_time_to_write_up_and_to_keep() -> None:
    done = Treatment(visit=1, day=DAY, started=time(8), finished=time(9))
    assert write_up_by(in_state(done, "NSW")).at == datetime(2026, 3, 4, 9)  # 48 h: NSW EPA
    assert write_up_by(in_state(done, "WA")).at == datetime(2026, 3, 9, 9)  # 7 days: DPIRD
    assert write_up_by(in_state(done, "NT")).at == datetime(2026, 3, 2, 9)  # promptly
    assert "within 7 days" in write_up_by(in_state(done, "WA")).text
    assert "within 48 hours" in write_up_by(in_state(done, "NSW")).text
    night = replace(done, started=time(23), finished=time(1))
    assert write_up_by(in_state(night, "VIC")).at == datetime(2026, 3, 5, 1)
    assert keep_until(in_state(done, "NSW")) == date(2029, 3, 2)  # 3 years: NSW EPA
    assert keep_until(in_state(done, "VIC")) == date(2028, 3, 2)  # 2 years: DPI Victoria
    assert keep_until(in_state(replace(done, day=date(2028, 2, 29)), "VIC")) == date(2030, 3, 1)


@pytest.mark.parametrize(
    ("actives", "hours"),
    [("2,4-D amine 625 g/L", 24), ("2, 4 D", 24), ("24-d", 24), ("2,4-DB", 48), ("MCPA 124 d", 48), ("", 48)],
)
def test_24d_is_written_up_within_a_day(actives: str, hours: int) -> None:
    # GRDC summary of the instructions of 2018: within 24 h, kept 2 years.
    done = Treatment(visit=1, day=DAY, finished=time(0), products=(Product(actives=actives),))
    assert write_up_by(in_state(done, "VIC")).at - datetime(2026, 3, 2) == timedelta(hours=hours)


def test_years_agree_with_the_advice(control: Control) -> None:
    assert {s: law.keep_years for s, law in load_law().states.items()} == {
        s: state.keep_years for s, state in control.states.items()
    }


# Who need not keep a record: Department of Primary Industries Victoria; Queensland Government; DPIRD (WA), 2020.
EXEMPT = {"VIC": "household products", "QLD": "householders in their own garden", "WA": "the grounds of a dwelling"}
IN_WORDS = {"two days": 48, "seven days": 168, "promptly": None, "before leaving the site": None}


@pytest.mark.parametrize("state", sorted(load_law().states))
def test_the_advice_says_the_same_of_records(state: str, control: Control) -> None:
    rule, told = load_law().states[state], control.states[state]
    hours = [hours for words, hours in IN_WORDS.items() if words in told.record]
    assert hours == ([] if state == "SA" else [rule.within_hours])
    assert set(rule.source) <= {*told.source, "CP"}
    assert bool(rule.exempt) == (state in EXEMPT)
    assert EXEMPT.get(state, "") in rule.exempt and EXEMPT.get(state, "") in told.exempt.lower()
    text = write_up_by(in_state(Treatment(visit=1, day=DAY, finished=time(9)), state)).text
    assert text.startswith("exempt: ") == (state in EXEMPT), "the exemption comes first"


def test_the_union_has_every_field_that_a_state_asks_for() -> None:
    names = field_names()
    assert set().union(*ASKED.values()) <= names.keys()
    assert not any(text.endswith(".") for text in names.values())


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("  rate:", "  rates:", "rates is not a field"),
        ("    if_any: [permit]", "    if_any: [permitt]", "permitt is not among"),
        (
            "    list: known\n    asks: [day, started, client,",
            "    list: unconfirmed\n    asks: [day, started, client,",
            "asks",
        ),
        ("    keep_years: 3\n", "    keep_years: 300\n", "keep_years"),
        ("source: [NT_GOV], standing: published}", "source: [CP], standing: published}", "none of its sources"),
        ("  NT:\n", "  XX:\n", "states must be"),
    ],
)
def test_a_wrong_fact_is_named(old: str, new: str, told: str, tmp_path: Path) -> None:
    text = (CONFIGS / "records.yaml").read_text(encoding="utf-8")
    assert old in text
    (tmp_path / "records.yaml").write_text(text.replace(old, new, 1), encoding="utf-8")
    (tmp_path / "sources.yaml").write_text((CONFIGS / "sources.yaml").read_text(encoding="utf-8"), encoding="utf-8")
    with pytest.raises(FloraError, match=told):
        load_law(tmp_path)
