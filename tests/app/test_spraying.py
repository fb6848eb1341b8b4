"""The commands window and degree-days, and the picture of a day's hours."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import pytest
import typer
from PIL import Image
from typer.testing import CliRunner

from app.figures.spray_hours import in_words
from app.spraying import degree_days, find_active, window
from model.errors import SwardkeyError
from model.spray import Occasion, Spray, judge_day, load_rules, read_forecast

cli = typer.Typer()
cli.command()(window)
cli.command()(degree_days)
READING = ("--temperature", "22", "--humidity", "60", "--wind", "8")
SVG = "{http://www.w3.org/2000/svg}"
# Rows at 6 to 19 h; calm at noon; rain at 18 h.
DAY = "time,temperature,humidity,wind,rain\n" + "".join(
    f"{h},{26 if h > 12 else 20},{45 if h > 12 else 60},{1 if h == 12 else 8},{2 if h == 18 else 0}\n"
    for h in range(6, 20)
)


def found(*arguments: object) -> dict[str, Any]:
    done = CliRunner().invoke(cli, [str(argument) for argument in (*arguments, "--json")])
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def refused(*arguments: object) -> str:
    done = CliRunner().invoke(cli, [str(argument) for argument in arguments])
    assert isinstance(done.exception, SwardkeyError), done.output
    return str(done.exception)


@pytest.fixture
def day(tmp_path: Path) -> Path:
    path = tmp_path / "day.csv"
    path.write_text(DAY, encoding="utf-8")
    return path


def test_window_prints_one_object_with_the_documented_keys() -> None:
    told = found("window", *READING, "--rain-in", 8, "--hour", 10, "--month", 6, "--state", "nsw")
    assert set(told) == {"delta_t", "verdict", "reasons"}
    assert told["verdict"] == "go" and told["delta_t"] == pytest.approx(5.1, abs=0.2)
    for line in told["reasons"]:
        assert line.split(":")[0] in {"delta_t", "wind", "heat", "cold", "humidity", "inversion", "rain"}
        assert line.endswith("]")


def test_the_worst_reason_decides_and_comes_first() -> None:
    told = found("window", "--temperature", 31, "--humidity", 55, "--wind", 25, "--hour", 12, "--rain-in", 9)
    assert told["verdict"] == "stop" and told["reasons"][0].startswith("wind: stop")
    told = found("window", "--temperature", 31, "--humidity", 55, "--wind", 9, "--hour", 12, "--rain-in", 9)
    assert told["verdict"] == "caution" and told["reasons"][0].startswith("heat: caution")


def test_signs_sunset_and_hours_by_the_clock() -> None:
    assert found("window", *READING, "--signs", "smoke", "--signs", "mist")["verdict"] == "stop"
    times = ("--sunrise", "6:10", "--sunset", "17:40")
    assert found("window", *READING, "--hour", "16:39", *times)["verdict"] == "caution"
    assert found("window", *READING, "--hour", "16:41", *times)["verdict"] == "stop"


def test_the_label_wins_over_published_rain_fast_hours() -> None:
    at = (*READING, "--hour", 10, "--rain-in", 3)
    assert found("window", *at, "--active", "dicamba")["verdict"] == "stop"
    told = found("window", *at, "--active", "dicamba", "--rain-fast", 2)
    assert told["verdict"] == "go"
    assert any(line.startswith("rain: go") and "label in hand" in line for line in told["reasons"])


def test_actives_are_found_by_any_of_their_names() -> None:
    assert find_active("2,4-d").active == "2,4-D" and find_active("2,4-D").volatile
    assert find_active("Prodiamine").pre_emergent
    assert find_active("mecoprop-p").active == find_active("mecoprop").active
    fast = find_active("bentazone")
    assert fast.rain_fast == (4, 6) and fast.cited.startswith("published: University of Illinois")
    assert find_active("triclopyr").rain_fast is None


def test_a_person_reads_verdict_reasons_and_what_was_not_judged() -> None:
    told = CliRunner().invoke(cli, ["window", *READING]).stdout
    assert told.startswith("GO") and "not judged" in told and "label in your hand wins" in told


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--temperature", 22, "--humidity", 60), "without --wind"),
        ((), "without --temperature and --humidity and --wind"),
        ((*READING, "--active", "dicambo"), "did you mean dicamba"),
        ((*READING, "--lawn", "bufalo"), "did you mean buffalo"),
        ((*READING, "--hour", "25"), "--hour: 25 is no time"),
        ((*READING, "--hour", 9, "--state", "NSX"), "did you mean NSW"),
        ((*READING, "--signs", "smok"), "did you mean smoke"),
        ((*READING, "--figure", "a.svg"), "name them with --forecast"),
        (("--temperature", 22, "--humidity", 160, "--wind", 8), "humidity of 160"),
        (("--temperature", 22, "--humidity", 60, "--wind", "nan"), "wind of nan"),
        (("--forecast", "day.csv", "--wind", 8), "--wind told beside --forecast"),
        (("--forecast", "none.csv"), "none.csv: no such file"),
    ],
)
def test_bad_input_is_refused_in_one_sentence(arguments: tuple[object, ...], told: str) -> None:
    message = refused("window", *arguments)
    assert told in message and "\n" not in message


def test_a_forecast_gives_each_hour_and_the_usable_runs(day: Path) -> None:
    told = found("window", "--forecast", day, "--sunrise", "6:00", "--sunset", "18:30", "--rain-fast", 4)
    assert set(told) == {"hours", "usable"} and len(told["hours"]) == 14
    assert told["usable"] == [[7.0, 12.0]]
    assert [hour["verdict"] for hour in told["hours"]][5:8] == ["go", "stop", "caution"]
    arguments = ["window", "--forecast", str(day), "--sunrise", "6:00", "--sunset", "18:30"]
    assert CliRunner().invoke(cli, arguments).stdout.startswith("Spray from 07:00 to 12:00.")


def test_the_picture_is_valid_says_itself_in_words_and_draws_what_was_judged(day: Path, tmp_path: Path) -> None:
    file = tmp_path / "day.svg"
    found("window", "--forecast", day, "--sunrise", "6:00", "--sunset", "18:30", "--rain-fast", 4, "--figure", file)
    root = ET.parse(file).getroot()
    assert root.tag == f"{SVG}svg" and root.get("role") == "img"
    title, words = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None and title.text and words is not None and words.text
    assert root.get("aria-labelledby") == f"{title.get('id')} {words.get('id')}"
    assert "07:00 to 12:00 go" in words.text and "12:00 to 13:00 stop (wind)" in words.text
    written = [text.text for text in root.iter(f"{SVG}text")]
    assert {"spray?", "inversion", "humidity", "rain", "stop above 10", "stop below 3"} <= set(written)
    # In the row of verdicts: one stretch of go between the lock-out of the morning and the calm.
    letters = "".join(text for text in written if text in ("G", "C", "S"))
    assert letters.startswith("SGSC") and letters.count("G") == 1


def test_the_same_day_is_drawn_the_same_and_as_png_too(day: Path, tmp_path: Path) -> None:
    files = [tmp_path / name for name in ("a.svg", "b.svg", "c.png")]
    for file in files:
        found("window", "--forecast", day, "--figure", file)
    assert files[0].read_bytes() == files[1].read_bytes()
    with Image.open(files[2]) as picture:
        assert picture.width > 1000 and "stop (" in picture.info["Description"]
    assert not list(tmp_path.glob(".*"))


def test_a_picture_that_cannot_be_written_leaves_what_was_there(day: Path, tmp_path: Path) -> None:
    assert "neither .svg nor .png" in refused("window", "--forecast", day, "--figure", tmp_path / "a.pdf")
    assert "cannot be written" in refused("window", "--forecast", day, "--figure", tmp_path / "none" / "a.svg")


def test_the_words_name_every_verdict_of_the_day(day: Path) -> None:
    judged = judge_day(
        read_forecast(day), load_rules(), Spray("x", (4, 4), "published: x"), Occasion(sunrise=6, sunset=18)
    )
    told = in_words(judged)
    assert told.count(" go") == sum(1 for run in judged.runs() if run[0].verdict.word == "go") == 1
    assert told.startswith("06:00 to 07:00 stop (inversion); 07:00 to 12:00 go;")


def test_degree_days_in_both_units_against_their_own_model(tmp_path: Path) -> None:
    file = tmp_path / "spring.csv"
    file.write_text("date,max,min\n" + "".join(f"2026-09-{d:02d},22,8\n" for d in range(1, 11)), encoding="utf-8")
    told = found("degree-days", file, "--base", 10, "--weed", "digitaria_sanguinalis")
    assert (told["c_days"], told["f_days"]) == (50, 90) and (told["base_c"], told["base_f"]) == (10, 50)
    stands = {entry["model"]: entry["stand"] for entry in told["thresholds"]}
    assert stands["Virginia Tech"] == "within" and stands["Purdue"] == "before"
    assert list(stands.values()).count("another model") == 1
    assert len(told["soil"]) == 3 and any("2026-09-01" in note for note in told["notes"])
    other = found("degree-days", file, "--base", 8)
    assert {entry["stand"] for entry in other["thresholds"]} == {"another model"}
    printed = (
        CliRunner().invoke(cli, ["degree-days", str(file), "--base", "10", "--weed", "Kyllinga brevifolia"]).stdout
    )
    assert printed.startswith("50.0 C-days over 10 C, which is 90.0 F-days over 50 F") and "18 C or more" in printed


def test_degree_days_refuse_bad_input(tmp_path: Path) -> None:
    file = tmp_path / "spring.csv"
    file.write_text("date,max,min\n2026-09-01,75,50\n", encoding="utf-8")
    assert "75 C cannot be" in refused("degree-days", file, "--base", 10)
    assert "not C or F" in refused("degree-days", file, "--base", 10, "--unit", "K")
    assert "base of 500" in refused("degree-days", file, "--base", 500, "--unit", "F")
    assert "not in the flora" in refused("degree-days", file, "--base", 50, "--unit", "F", "--weed", "no such weed")
