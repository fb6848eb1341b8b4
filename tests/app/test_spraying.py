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

from app.commands.judge_spraying import degree_days, window
from app.figures.spray_hours import in_words
from app.services.spray_window import active_of
from model.control import Case, Control, plan
from model.control.spraying import sprays_of
from model.errors import SwardkeyError
from model.spray import Occasion, Spray, judge_day, load_rules, read_forecast

cli = typer.Typer()
cli.command()(window)
cli.command()(degree_days)
READING = ("--temperature", "22", "--humidity", "60", "--wind", "8")
# Against the weather nothing speaks, and all of it is told.
FINE = (*READING, "--hour", "10", "--rain-in", "24")
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


def against(told: dict[str, Any], level: str) -> list[str]:
    """The reasons of one level, without their sources."""
    return [line.split(" [")[0] for line in told["reasons"] if line.split(": ")[1] == level]


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
    assert set(told) == {"delta_t", "verdict", "not_judged", "reasons"}
    assert told["verdict"] == "go" and told["not_judged"] == [] and told["delta_t"] == pytest.approx(5.1, abs=0.2)
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
    at = (*READING, "--hour", 10, "--rain-in", 3, "--active", "dicamba", "--lawn", "couch", "--state", "NSW")
    assert found("window", *at)["verdict"] == "stop"
    told = found("window", *at, "--rain-fast", 2)
    assert told["verdict"] == "go" and told["not_judged"] == []
    assert any(line.startswith("rain: go") and "label in hand" in line for line in told["reasons"])


def test_actives_are_found_by_any_of_their_names(control: Control) -> None:
    assert active_of(control, "2,4-d") == "2,4-D"
    assert active_of(control, "Prodiamine") == "prodiamine"
    assert active_of(control, "mecoprop-p") == active_of(control, "mecoprop")


def test_what_the_weather_must_know_of_an_active_is_what_is_publicontext_of_it(control: Control) -> None:
    volatile, pre_emergent, bentazone, triclopyr = sprays_of(control, ["2,4-D", "prodiamine", "bentazone", "triclopyr"])
    assert volatile.volatile and not volatile.pre_emergent and pre_emergent.pre_emergent
    # University of Illinois (1997) and the labels of the Pacific Northwest: 4 to 8 h.
    assert bentazone.rain_fast == (4, 8) and bentazone.cited.startswith("published: ")
    assert triclopyr.rain_fast is None
    assert [spray.rain_fast for spray in sprays_of(control, ["bentazone"], 2)] == [(2, 2)]
    assert [spray.active for spray in sprays_of(control, [])] == [""]


def test_a_person_reads_verdict_reasons_and_what_was_not_judged() -> None:
    told = CliRunner().invoke(cli, ["window", *READING]).stdout
    assert told.startswith("GO SO FAR: inversion and rain not judged yet")
    assert "not judged" in told and "label in your hand wins" in told
    assert CliRunner().invoke(cli, ["window", *FINE]).stdout.startswith("GO: ")


def test_go_is_only_so_far_while_something_is_not_told() -> None:
    paving = (*READING, "--active", "glyphosate", "--place", "paving", "--state", "NSW", "--month", 5)
    told = found("window", *paving)
    assert (told["verdict"], told["not_judged"]) == ("go", ["inversion", "rain"])
    assert found("window", *paving, "--hour", 10)["not_judged"] == ["rain"]
    assert found("window", *paving, "--hour", 10, "--rain-in", 24)["not_judged"] == []
    untold = found("window", *FINE, "--active", "2,4-D")
    assert untold["verdict"] == "go" and untold["not_judged"] == ["lawn", "law"], "the state may ban it"


def test_what_injures_the_lawn_is_stop() -> None:
    """Mississippi State University Extension (Wells, 2012): 2,4-D on buffalo."""
    told = found("window", *FINE, "--active", "2,4-D", "--lawn", "buffalo", "--state", "NSW", "--month", 6)
    assert told["verdict"] == "stop" and told["reasons"][0].startswith("lawn: stop: 2,4-D injures buffalo")
    assert found("window", *FINE, "--active", "2,4-D", "--lawn", "couch", "--state", "NSW")["verdict"] == "go"
    bed = found("window", *FINE, "--active", "2,4-D", "--lawn", "buffalo", "--state", "NSW", "--place", "bed")
    assert bed["verdict"] == "caution", "keep it off the lawn"
    printed = CliRunner().invoke(cli, ["window", *FINE, "--active", "2,4-D", "--lawn", "buffalo"]).stdout
    assert printed.startswith("STOP: do not spray.")


def test_a_ban_of_a_state_is_stop_in_its_months() -> None:
    """NRE Tasmania, Code of Practice for Ground Spraying: 15 September to 15 April."""

    def verdict(month: int, state: str = "TAS") -> str:
        return str(
            found("window", *FINE, "--state", state, "--month", month, "--active", "2,4-D", "--lawn", "couch")[
                "verdict"
            ]
        )

    assert [verdict(month) for month in (12, 4, 9, 5, 8)] == ["stop", "caution", "caution", "go", "go"]
    assert verdict(12, "VIC") == "go"
    told = found("window", *FINE, "--state", "TAS", "--month", 12, "--active", "2,4-D")
    assert told["verdict"] == "stop" and told["reasons"][0].startswith("law: stop: Tasmania")


def test_the_day_of_a_forecast_is_the_month_of_the_ban(tmp_path: Path) -> None:
    file = tmp_path / "day.csv"
    arguments = ("--forecast", file, "--state", "TAS", "--active", "2,4-D", "--lawn", "couch")
    for day, expected in (("2026-12-08", "stop"), ("2026-06-09", "go")):
        file.write_text(
            "time,temperature,humidity,wind,rain\n" + "".join(f"{day}T{h:02d}:00,20,60,8,0\n" for h in range(10, 14)),
            encoding="utf-8",
        )
        assert found("window", *arguments)["hours"][0]["verdict"] == expected


def test_a_mix_is_as_strict_as_its_strictest_part() -> None:
    """Common practice: MCPA as an ester leaves as vapour in heat, bromoxynil does not."""
    hot = ("--temperature", 32, "--humidity", 60, "--wind", 8, "--hour", 10, "--rain-in", 24)
    here = ("--lawn", "buffalo", "--cultivar", "sapphire", "--state", "NSW", "--month", 11)
    alone = [found("window", *hot, *here, "--active", active) for active in ("bromoxynil", "MCPA")]
    assert [told["verdict"] for told in alone] == ["caution", "stop"]
    assert against(alone[1], "stop")[0].startswith("volatile: stop: MCPA at 32 C")
    both = ("--active", "bromoxynil", "--active", "MCPA")
    for mix in (both, both[2:] + both[:2], ("--active", "bromoxynil + MCPA")):
        told = found("window", *hot, *here, *mix)
        assert told["verdict"] == "stop" and against(told, "stop") == against(alone[1], "stop")
        for active in ("bromoxynil", "MCPA"):
            assert any(line.startswith("lawn: ") and active in line for line in told["reasons"]), active
            assert any(line.startswith("rain: ") and active in line for line in told["reasons"]), active


def test_a_cancelled_active_is_stop_and_says_what_to_do_with_the_rest() -> None:
    """APVMA, decision of 10 October 2024."""
    told = found("window", *FINE, "--active", "chlorthal-dimethyl", "--lawn", "couch", "--state", "NSW", "--month", 5)
    assert told["verdict"] == "stop"
    (reason,) = against(told, "stop")
    assert reason.startswith("registration: stop: ") and "10 October 2024" in reason and "hand it in" in reason
    assert found("window", *FINE, "--active", "chlorthal-dimethyl")["verdict"] == "stop", "wherever it is"


def test_what_is_near_or_was_used_counts_as_for_the_plan() -> None:
    at = (*FINE, "--lawn", "couch", "--state", "NSW", "--month", 5, "--active", "2,4-D")
    assert found("window", *at)["verdict"] == "go"
    for more, factor in ((("--near", "pond"), "near"), (("--used", "4"), "group")):
        told = found("window", *at, *more)
        assert told["verdict"] == "caution" and told["reasons"][0].startswith(f"{factor}: caution"), more
    food = found("window", *FINE, "--lawn", "couch", "--active", "clopyralid", "--near", "edibles", "--state", "NSW")
    assert food["verdict"] == "stop" and any("clippings" in line for line in against(food, "stop"))


def test_what_is_not_known_of_a_lawn_is_never_go(control: Control) -> None:
    unknown = next(
        name for name, active in control.actives.items()
        if control.rating(name, "kikuyu") is None and active.use == "selective" and active.confirm is None
        and active.registration.status in ("current", "home_garden")
    )  # fmt: skip
    for lawn in ("kikuyu", "unknown"):
        told = found("window", *FINE, "--active", unknown, "--lawn", lawn, "--state", "NSW", "--month", 5)
        assert told["verdict"] == "caution" and "on the label" in against(told, "caution")[0], lawn


def test_what_kills_any_lawn_is_stop_unless_it_is_wiped_or_off_the_lawn() -> None:
    at = (*FINE, "--active", "glyphosate", "--state", "NSW", "--month", 5, "--lawn", "couch")
    assert found("window", *at)["verdict"] == "stop"
    wiped = found("window", *at, "--wipe")
    assert wiped["verdict"] == "caution" and "dead spot" in against(wiped, "caution")[0]
    assert found("window", *at, "--place", "paving")["verdict"] != "stop"


@pytest.mark.parametrize("cultivar", ["st", "sapphire", None])
def test_the_cultivar_of_a_lawn_decides(cultivar: str | None) -> None:
    """Common practice, no source: labels leave the ST varieties of buffalo out."""
    told = found(
        "window", *FINE, "--active", "bromoxynil + MCPA", "--lawn", "buffalo", "--state", "NSW", "--month", 6,
        *(("--cultivar", cultivar) if cultivar else ()),
    )  # fmt: skip
    assert (told["verdict"] == "stop") is (cultivar == "st")
    assert any("ST varieties" in line for line in against(told, "caution")) is (cultivar is None)


@pytest.mark.parametrize(
    ("weed", "lawn", "active", "more"),
    [
        ("soliva_sessilis", "couch", "MCPA + dicamba", ()),
        ("taraxacum_officinale", "couch", "2,4-D", ("--state", "TAS")),
        ("trifolium_repens", "couch", "mecoprop + dicamba", ("--near", "bees", "--stage", "flowering")),
        ("soliva_sessilis", "couch", "MCPA + dicamba", ("--stage", "seeding")),
    ],
)
def test_with_the_weed_window_is_never_milder_than_advise(
    weed: str, lawn: str, active: str, more: tuple[str, ...], control: Control
) -> None:
    told = dict(zip(more[::2], more[1::2], strict=True))
    mix, graver = {part.strip() for part in active.split("+")}, {"yes": "go", "wait": "caution", "no": "stop"}
    seen = set()
    for month in range(1, 13):
        case = Case(
            (weed,), month, lawn, state=told.get("--state"), stage=told.get("--stage"),  # type: ignore[arg-type]
            near=("bees",) if "--near" in told else (),
        )  # fmt: skip
        (option,) = [o for o in plan(control, case).options if {a.name for a in o.actives} == mix]
        verdict = found(
            "window", *FINE, "--weed", weed, "--lawn", lawn, "--active", active, "--month", month, *more
        )["verdict"]  # fmt: skip
        levels = ["go", "caution", "stop"]
        assert levels.index(verdict) >= levels.index(graver[option.suited]), month
        seen.add(verdict)
    assert len(seen) > 1 or "--near" in told or told.get("--stage") == "seeding"


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--temperature", 22, "--humidity", 60), "without --wind"),
        ((), "without --temperature and --humidity and --wind"),
        ((*READING, "--active", "dicambo"), "did you mean dicamba"),
        ((*READING, "--active", "bromoxynil + MCPB"), "did you mean MCPA"),
        ((*READING, "--lawn", "bufalo"), "did you mean buffalo"),
        ((*READING, "--lawn", "buffalo", "--cultivar", "saphire"), "did you mean sapphire"),
        ((*READING, "--near", "bee"), "did you mean bees"),
        ((*READING, "--place", "roof"), "--place roof: not known"),
        ((*READING, "--used", "four"), "not a group number"),
        ((*READING, "--weed", "bindii", "--active", "MCPA"), "give --month too"),
        ((*READING, "--weed", "bindii", "--month", 6, "--stage", "old"), "--stage old: not known"),
        ((*READING, "--hour", "25"), "--hour: 25 is not a time"),
        ((*READING, "--hour", 9, "--state", "NSX"), "did you mean NSW"),
        ((*READING, "--signs", "smok"), "did you mean smoke"),
        ((*READING, "--figure", "a.svg"), "name them with --forecast"),
        (("--temperature", 22, "--humidity", 160, "--wind", 8), "humidity of 160"),
        (("--temperature", 22, "--humidity", 60, "--wind", "nan"), "wind of nan"),
        (("--forecast", "day.csv", "--wind", 8), "--wind given with --forecast"),
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
        read_forecast(day), load_rules(), [Spray("x", (4, 4), "published: x")], Occasion(sunrise=6, sunset=18)
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
    assert "75 C is impossible" in refused("degree-days", file, "--base", 10)
    assert "not C or F" in refused("degree-days", file, "--base", 10, "--unit", "K")
    assert "base of 500" in refused("degree-days", file, "--base", 500, "--unit", "F")
    assert "not in the flora" in refused("degree-days", file, "--base", 50, "--unit", "F", "--weed", "no such weed")
