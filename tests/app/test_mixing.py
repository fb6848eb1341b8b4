"""`swardkey mix`: the documented options and keys, slips that are asked about, and never a rate of its own."""

from __future__ import annotations

import json
import re
import shlex
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from app.commands.mix import mix
from model.mix.doubt import MixError
from model.mix.result import LABEL_FIRST
from tests.app.conftest import Run

DOCUMENTED = {
    "output --litres 2 --area 100": {"litres_per_hectare": 200, "litres_per_100m2": 2},
    "output --flow 24 --speed 12 --swath 12": {"litres_per_hectare": 100},
    "output --flow 1 --course 50 --seconds 36 --swath 1": {"litres_per_hectare": 120, "speed_km_h": 5},
    "tank --tank 10 --output 200 --rate '5 L/ha' --area 1200": {
        "product_per_tank_ml": 250, "area_per_tank_m2": 500, "fills": 2.4, "full_fills": 2, "last_fill_litres": 4,
        "last_fill_product_ml": 100, "product_total_ml": 600,
    },
    "tank --tank 10 --output 200 --rate '50 g/ha' --area 1000": {
        "product_per_tank_g": 2.5, "fills": 2, "full_fills": 2, "last_fill_litres": 0, "last_fill_product_g": 0,
        "product_total_g": 5,
    },
    "spot --volume 5 --rate '10 mL/L'": {"product_total_ml": 50, "product_per_litre_ml": 10},
    "spot --volume 10 --rate '1:40'": {"product_total_ml": 250},
    "granule --area 250 --rate '16 g/m2' --active 0.5%": {
        "product_total_g": 4000, "product_kg_per_hectare": 160, "product_g_per_100m2": 1600,
        "active_kg_per_hectare": 0.8,
    },
    "nitrogen --analysis 14-0-0 --rate '35 g/m2' --area 80": {
        "nitrogen_kg_per_hectare": 49, "nitrogen_g_per_100m2": 490, "product_total_g": 2800,
        "product_g_per_100m2": 3500, "phosphate_kg_per_hectare": 0, "potash_kg_per_hectare": 0,
    },
    "nitrogen --analysis 20-0-0 --want 400 --area 50": {"product_g_per_100m2": 2000, "product_total_g": 1000},
    "nitrogen --analysis 20-0-0 --want 400 --area 50 --liquid": {"product_ml_per_100m2": 2000},
    "nitrogen --analysis 0-10-10 --rate '100 kg/ha' --area 50 --elements": {
        "phosphorus_kg_per_hectare": 10, "potassium_kg_per_hectare": 10, "nitrogen_kg_per_hectare": 0,
    },
    "strip --area 30 --swath 1.5": {"length_m": 20},
    "strength --strength '360 g/L' --active '720 g/ha' --area 100": {
        "product_litres_per_hectare": 2, "product_ml_per_100m2": 20, "product_total_ml": 20,
        "active_kg_per_hectare": 0.72,
    },
    "strength --strength 50% --product '2 kg/ha'": {"active_kg_per_hectare": 1, "product_g_per_100m2": 20},
    "area --rectangle 10x5 --triangle 10x3.5 --rectangle 2x2 --less-rectangle 2x1": {"area_m2": 69.5},
    "area --sides 3x4x5 --trapezium 4x6x3 --less-sides 0.3x0.4x0.5": {"area_m2": 20.94},
}  # fmt: skip


def mixed(line: str, *more: str, **options: Any) -> Any:
    return CliRunner().invoke(mix, [*shlex.split(line), *more], **options)


@pytest.mark.parametrize("line", DOCUMENTED)
def test_the_figures_are_the_documented_ones_and_a_person_reads_working_and_label(line: str) -> None:
    done = mixed(line, "--json")
    assert done.exit_code == 0, done.exception
    found = json.loads(done.stdout)
    assert {key: found[key] for key in DOCUMENTED[line]} == pytest.approx(DOCUMENTED[line], rel=1e-12)
    assert found["label_first"] == LABEL_FIRST and found["working"]
    for key, value in found.items():
        named = re.search(r"_(ml|g|kg|m|m2|litres|litre_ml|litre_g|hectares?|100m2|km_h)$", key) or key == "fills"
        assert named or not isinstance(value, float), f"{key} names no unit"
    printed = " ".join(mixed(line).stdout.split())
    assert printed.endswith(LABEL_FIRST) and re.search(r"\d.* = [0-9.,]+", printed)


@pytest.mark.parametrize(
    ("line", "cause"),
    [
        ("spot --volume 10 --rate '5 L/ha'", "never carry a boom rate into a spot mix"),
        ("tank --tank 10 --output 200 --rate '10 mL/L'", "mix spot"),
        ("tank --tank 10 --output 200 --rate '1:40'", "mix spot"),
        ("tank --tank 0 --output 200 --rate '5 L/ha'", "--tank '0'.* more than 0"),
        ("tank --tank -5 --output 200 --rate '5 L/ha'", "--tank '-5'.* more than 0"),
        ("tank --tank nan --output 200 --rate '5 L/ha'", "--tank 'nan'.* not a number"),
        ("tank --tank inf --output 200 --rate '5 L/ha'", "--tank 'inf'.* not a number"),
        ("tank --tank 10 --output 200 --rate '5 m/ha'", "--rate '5 m/ha'.* a length"),
        ("spot --volume 10 --rate 120%", "more than 100 %"),
        ("granule --area 100 --rate '16 g/m2' --active 120", "more than all"),
        ("granule --area 100 --rate '16 mL/m2'", "granules are weighed"),
        ("nitrogen --analysis 60-30-20 --rate '35 g/m2' --area 80", "sums to 110 %"),
        ("nitrogen --analysis 14-0-0 --area 80", "--rate .* or --want"),
        ("nitrogen --analysis 14-0-0 --rate '35 g/m2' --want 400 --area 80", "--rate .* or --want"),
        ("output --litres 2", "give one of these sets"),
        ("output --litres 2 --area 100 --flow 3", "give one of these sets"),
        ("strength --strength 50%", "either --active or --product"),
        ("area --rectangle 2x1 --less-rectangle 3x2", "subtracted"),
        ("area", "no shape is given"),
    ],
)
def test_what_cannot_be_computed_is_said_in_one_sentence(line: str, cause: str) -> None:
    done = mixed(line, "--json")
    assert isinstance(done.exception, MixError) and done.stdout == ""
    assert re.search(cause, str(done.exception)) and "\n" not in str(done.exception)
    assert isinstance(mixed(line, "--json", "--sure").exception, MixError), "--sure must not compute the impossible"


SLIPS = [
    "output --litres 100 --area 100",
    "output --flow 2 --speed 4 --swath 30",
    "output --flow 2 --speed 40 --swath 2",
    "tank --tank 5000 --output 200 --rate '5 L/ha'",
    "tank --tank 10 --output 10000 --rate '5 L/ha'",
    "tank --tank 10 --output 500 --rate '300 L/ha'",
    "nitrogen --analysis 46-0-0 --rate '350 g/m2' --area 100",
    "nitrogen --analysis 46-0-0 --want 2000 --area 100",
    "spot --volume 10 --rate 90%",
    "granule --area 4000000 --rate '16 g/m2'",
]


@pytest.mark.parametrize("line", SLIPS)
def test_a_likely_slip_is_not_computed_until_the_user_is_sure(line: str) -> None:
    for more in (["--json"], []):
        done = mixed(line, *more)
        assert isinstance(done.exception, MixError) and done.stdout == ""
        assert str(done.exception).endswith("if that is right, add --sure")
    assert json.loads(mixed(line, "--json", "--sure").stdout)["doubts"]


@pytest.mark.parametrize(("answer", "computed"), [("y\n", True), ("n\n", False), ("\n", False)])
def test_on_a_terminal_the_slip_is_asked_about(monkeypatch: pytest.MonkeyPatch, answer: str, computed: bool) -> None:
    monkeypatch.setattr("app.commands.mix.is_interactive", lambda: True)
    done = mixed(SLIPS[0], input=answer)
    assert "Is it right?" in done.stderr and "Is it right?" not in done.stdout
    assert ("L/ha" in done.stdout) == computed
    assert isinstance(done.exception, MixError) != computed


def test_the_command_line_makes_a_sentence_and_status_2_of_it(run: Run) -> None:
    wrong = run("mix", "spot", "--volume", "10", "--rate", "5 L/ha", "--json")
    assert wrong.refusal.startswith("swardkey: 5 L/ha is product for an area")
    assert "--rate" in run("mix", "tank", "--tank", "10", "--output", "200").refusal, "a rate must be typed"


def test_no_option_has_a_rate_of_its_own_and_no_help_shows_one() -> None:
    group = typer.main.get_command(mix)
    for name, command in group.commands.items():  # type: ignore[attr-defined]
        for option in command.params:
            assert option.required or option.default in (None, False), (name, option.name)
        texts = " ".join([command.help or "", *(getattr(option, "help", "") or "" for option in command.params)])
        assert not re.search(r"\d\s*(m?l|k?g|%|lb|floz|oz|gal)\b|\d:\d", texts, re.IGNORECASE), (name, texts)


def test_a_rate_stays_in_the_result_as_it_was_typed() -> None:
    found = json.loads(mixed("tank --tank 10 --output 200 --rate '32 fl oz/acre'", "--json").stdout)
    assert found["rate"] == {"typed": "32 fl oz/acre", "read_as": "2.247 L/ha"}
    assert any("read as imperial" in note for note in found["doubts"])
