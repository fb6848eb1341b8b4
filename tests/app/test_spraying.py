"""The commands window and degree-days, and the picture of a day's hours."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from app.figures.spray_hours import in_words
from app.services.spray_window import active_of
from model.control import Case, Control, plan
from model.control.spraying import sprays_of
from model.spray import Occasion, Spray, judge_day, load_rules, read_forecast
from tests.app.conftest import Run

Found = Callable[..., dict[str, Any]]
READING = ("--temperature", "22", "--humidity", "60", "--wind", "8")
# Against the weather nothing speaks, and all of it is told.
FINE = (*READING, "--hour", "10", "--rain-in", "24")
SVG = "{http://www.w3.org/2000/svg}"
# Rows at 6 to 19 h; calm at noon; rain at 18 h.
DAY = "time,temperature,humidity,wind,rain\n" + "".join(
    f"{h},{26 if h > 12 else 20},{45 if h > 12 else 60},{1 if h == 12 else 8},{2 if h == 18 else 0}\n"
    for h in range(6, 20)
)


@pytest.fixture
def window(run: Run) -> Found:
    """The object that `window` prints for some options."""
    return lambda *arguments: run("window", *arguments, "--json").json


def against(found: dict[str, Any], level: str) -> list[str]:
    """The reasons of one level, without their sources."""
    return [line.split(" [")[0] for line in found["reasons"] if line.split(": ")[1] == level]


@pytest.fixture
def day(tmp_path: Path) -> Path:
    path = tmp_path / "day.csv"
    path.write_text(DAY, encoding="utf-8")
    return path


def test_window_prints_one_object_with_the_documented_keys(window: Found) -> None:
    found = window(*READING, "--rain-in", 8, "--hour", 10, "--month", 6, "--state", "nsw")
    assert set(found) == {"delta_t", "verdict", "not_judged", "reasons"}
    assert found["verdict"] == "go" and found["not_judged"] == [] and found["delta_t"] == pytest.approx(5.1, abs=0.2)
    for line in found["reasons"]:
        assert line.split(":")[0] in {"delta_t", "wind", "heat", "cold", "humidity", "inversion", "rain"}
        assert line.endswith("]")


NOON = "--humidity 55 --hour 12 --rain-in 9 --temperature 31 --wind"
CLOCK = "--sunrise 6:10 --sunset 17:40 --hour"
DICAMBA = "--hour 10 --rain-in 3 --active dicamba --lawn couch --state NSW"
ON_COUCH = "--lawn couch --state NSW --month 5 --active"
BUFFALO = "--active 2,4-D --lawn buffalo --state NSW --month 6"
TASMANIA = "--state TAS --active 2,4-D --lawn couch --month"


@pytest.mark.parametrize(
    ("options", "verdict", "first"),
    [
        # The worst reason decides and comes first.
        (f"{NOON} 25", "stop", "wind: stop"),
        (f"{NOON} 9", "caution", "heat: caution"),
        ("READING --signs smoke --signs mist", "stop", "inversion: stop"),
        (f"READING {CLOCK} 16:39", "caution", "inversion: caution"),
        (f"READING {CLOCK} 16:41", "stop", "inversion: stop"),
        # The label wins over published rain-fast hours.
        (f"READING {DICAMBA}", "stop", "rain: stop"),
        (f"READING {DICAMBA} --rain-fast 2", "go", ""),
        # Mississippi State University Extension (Wells, 2012): 2,4-D injures buffalo; keep it off the lawn.
        (f"FINE {BUFFALO}", "stop", "lawn: stop: 2,4-D injures buffalo"),
        (f"FINE {BUFFALO} --place bed", "caution", ""),
        ("FINE --active 2,4-D --lawn couch --state NSW", "go", ""),
        # NRE Tasmania, Code of Practice for Ground Spraying: 15 September to 15 April.
        (f"FINE {TASMANIA} 12", "stop", "law: stop: Tasmania"),
        (f"FINE {TASMANIA} 4", "caution", "law"),
        (f"FINE {TASMANIA} 9", "caution", "law"),
        (f"FINE {TASMANIA} 5", "go", ""),
        (f"FINE {TASMANIA} 8", "go", ""),
        ("FINE --state VIC --active 2,4-D --lawn couch --month 12", "go", ""),
        ("FINE --state TAS --active 2,4-D --month 12", "stop", "law: stop: Tasmania"),
        # APVMA, decision of 10 October 2024, wherever it is used.
        ("FINE --active chlorthal-dimethyl", "stop", "registration: stop: "),
        # What is near or was used counts as for the plan.
        (f"FINE {ON_COUCH} 2,4-D", "go", ""),
        (f"FINE {ON_COUCH} 2,4-D --near pond", "caution", "near: caution"),
        (f"FINE {ON_COUCH} 2,4-D --used 4", "caution", "group: caution"),
        # What kills any lawn is stop unless it is wiped or off the lawn.
        (f"FINE {ON_COUCH} glyphosate", "stop", "lawn: stop"),
        (f"FINE {ON_COUCH} glyphosate --wipe", "caution", ""),
        (f"FINE {ON_COUCH} glyphosate --place paving", "caution", "lawn: caution"),
    ],
)
def test_the_verdict_and_its_first_reason(window: Found, options: str, verdict: str, first: str) -> None:
    words = options.replace("READING", " ".join(READING)).replace("FINE", " ".join(FINE)).split()
    found = window(*words)
    assert found["verdict"] == verdict and found["reasons"][0].startswith(first), found


def test_what_is_said_with_a_reason(window: Found) -> None:
    label = window(*READING, *f"{DICAMBA} --rain-fast 2".split())
    assert any(line.startswith("rain: go") and "label in hand" in line for line in label["reasons"])
    (cancelled,) = against(window(*FINE, *ON_COUCH.split(), "chlorthal-dimethyl"), "stop")
    assert "10 October 2024" in cancelled and "hand it in" in cancelled
    food = window(*FINE, *ON_COUCH.split(), "clopyralid", "--near", "edibles")
    assert food["verdict"] == "stop" and any("clippings" in line for line in against(food, "stop"))
    assert "dead spot" in against(window(*FINE, *ON_COUCH.split(), "glyphosate", "--wipe"), "caution")[0]


def test_actives_are_found_by_any_of_their_names(control: Control) -> None:
    assert active_of(control, "2,4-d") == "2,4-D"
    assert active_of(control, "Prodiamine") == "prodiamine"
    assert active_of(control, "mecoprop-p") == active_of(control, "mecoprop")


def test_what_the_weather_must_know_of_an_active_is_what_is_published_of_it(control: Control) -> None:
    volatile, pre_emergent, bentazone, triclopyr = sprays_of(control, ["2,4-D", "prodiamine", "bentazone", "triclopyr"])
    assert volatile.volatile and not volatile.pre_emergent and pre_emergent.pre_emergent
    # University of Illinois (1997) and the labels of the Pacific Northwest: 4 to 8 h.
    assert bentazone.rain_fast == (4, 8) and bentazone.cited.startswith("published: ")
    assert triclopyr.rain_fast is None
    assert [spray.rain_fast for spray in sprays_of(control, ["bentazone"], 2)] == [(2, 2)]
    assert [spray.active for spray in sprays_of(control, [])] == [""]


def test_a_person_reads_verdict_reasons_and_what_was_not_judged(run: Run) -> None:
    out = run("window", *READING).out
    assert out.startswith("GO SO FAR: inversion and rain not judged yet")
    assert "not judged" in out and "label in your hand overrides" in out
    assert run("window", *FINE).out.startswith("GO: ")
    assert run("window", *FINE, *BUFFALO.split()).out.startswith("STOP: do not spray.")


def test_go_is_only_so_far_while_something_is_not_given(window: Found) -> None:
    paving = (*READING, "--active", "glyphosate", "--place", "paving", "--state", "NSW", "--month", 5)
    found = window(*paving)
    assert (found["verdict"], found["not_judged"]) == ("go", ["inversion", "rain"])
    assert window(*paving, "--hour", 10)["not_judged"] == ["rain"]
    assert window(*paving, "--hour", 10, "--rain-in", 24)["not_judged"] == []
    unknown = window(*FINE, "--active", "2,4-D")
    assert unknown["verdict"] == "go" and unknown["not_judged"] == ["lawn", "law"], "the state may ban it"


def test_the_day_of_a_forecast_is_the_month_of_the_ban(window: Found, tmp_path: Path) -> None:
    file = tmp_path / "day.csv"
    for day, expected in (("2026-12-08", "stop"), ("2026-06-09", "go")):
        rows = "".join(f"{day}T{h:02d}:00,20,60,8,0\n" for h in range(10, 14))
        file.write_text(f"time,temperature,humidity,wind,rain\n{rows}", encoding="utf-8")
        found = window("--forecast", file, "--state", "TAS", "--active", "2,4-D", "--lawn", "couch")
        assert found["hours"][0]["verdict"] == expected


def test_a_mix_is_as_strict_as_its_strictest_part(window: Found) -> None:
    """Common practice: MCPA as an ester leaves as vapour in heat, bromoxynil does not."""
    hot = ("--temperature", 32, "--humidity", 60, "--wind", 8, "--hour", 10, "--rain-in", 24)
    here = (*hot, *["--lawn", "buffalo", "--cultivar", "sapphire", "--state", "NSW", "--month", "11"])
    alone = [window(*here, "--active", active) for active in ("bromoxynil", "MCPA")]
    assert [found["verdict"] for found in alone] == ["caution", "stop"]
    assert against(alone[1], "stop")[0].startswith("volatile: stop: MCPA at 32 °C")
    both = ("--active", "bromoxynil", "--active", "MCPA")
    for mix in (both, both[2:] + both[:2], ("--active", "bromoxynil + MCPA")):
        found = window(*here, *mix)
        assert found["verdict"] == "stop" and against(found, "stop") == against(alone[1], "stop")
        for active in ("bromoxynil", "MCPA"):
            assert any(line.startswith("lawn: ") and active in line for line in found["reasons"]), active
            assert any(line.startswith("rain: ") and active in line for line in found["reasons"]), active


def test_what_is_not_known_of_a_lawn_is_never_go(window: Found, control: Control) -> None:
    unknown = next(
        name for name, active in control.actives.items()
        if control.rating(name, "kikuyu") is None and active.use == "selective" and active.confirm is None
        and active.registration.status in ("current", "home_garden")
    )  # fmt: skip
    for lawn in ("kikuyu", "unknown"):
        found = window(*FINE, "--active", unknown, "--lawn", lawn, "--state", "NSW", "--month", 5)
        assert found["verdict"] == "caution" and "on the label" in against(found, "caution")[0], lawn


@pytest.mark.parametrize("cultivar", ["st", "sapphire", None])
def test_the_cultivar_of_a_lawn_decides(window: Found, cultivar: str | None) -> None:
    """Common practice, no source: labels leave the ST varieties of buffalo out."""
    more = ("--cultivar", cultivar) if cultivar else ()
    found = window(*FINE, "--active", "bromoxynil + MCPA", *BUFFALO.split()[2:], *more)
    assert (found["verdict"] == "stop") is (cultivar == "st")
    assert any("ST varieties" in line for line in against(found, "caution")) is (cultivar is None)


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
    weed: str, lawn: str, active: str, more: tuple[str, ...], control: Control, window: Found
) -> None:
    given = dict(zip(more[::2], more[1::2], strict=True))
    mix, graver = {part.strip() for part in active.split("+")}, {"yes": "go", "wait": "caution", "no": "stop"}
    seen = set()
    for month in range(1, 13):
        case = Case(
            (weed,), month, lawn, state=given.get("--state"), stage=given.get("--stage"),  # type: ignore[arg-type]
            near=("bees",) if "--near" in given else (),
        )  # fmt: skip
        (option,) = [o for o in plan(control, case).options if {a.name for a in o.actives} == mix]
        verdict = window(
        *FINE, "--weed", weed, "--lawn", lawn, "--active", active, "--month", month, *more
        )["verdict"]  # fmt: skip
        levels = ["go", "caution", "stop"]
        assert levels.index(verdict) >= levels.index(graver[option.suited]), month
        seen.add(verdict)
    assert len(seen) > 1 or "--near" in given or given.get("--stage") == "seeding"


@pytest.mark.parametrize(
    ("arguments", "says"),
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
        ((*READING, "--figure", "a.svg"), "give them with --forecast"),
        (("--temperature", 22, "--humidity", 160, "--wind", 8), "humidity of 160"),
        (("--temperature", 22, "--humidity", 60, "--wind", "nan"), "wind of nan"),
        (("--forecast", "day.csv", "--wind", 8), "--wind given with --forecast"),
        (("--forecast", "none.csv"), "none.csv: no such file"),
    ],
)
def test_bad_input_is_one_sentence(run: Run, arguments: tuple[object, ...], says: str) -> None:
    assert says in run("window", *arguments).refusal


def test_a_forecast_gives_each_hour_and_the_usable_runs(run: Run, window: Found, day: Path) -> None:
    arguments = ("--forecast", day, "--sunrise", "6:00", "--sunset", "18:30")
    found = window(*arguments, "--rain-fast", 4)
    assert set(found) == {"hours", "usable"} and len(found["hours"]) == 14
    assert found["usable"] == [[7.0, 12.0]]
    assert [hour["verdict"] for hour in found["hours"]][5:8] == ["go", "stop", "caution"]
    assert run("window", *arguments).out.startswith("Spray from 07:00 to 12:00.")


def test_the_picture_is_valid_says_itself_in_words_and_draws_what_was_judged(
    window: Found, day: Path, tmp_path: Path
) -> None:
    file = tmp_path / "day.svg"
    window("--forecast", day, "--sunrise", "6:00", "--sunset", "18:30", "--rain-fast", 4, "--figure", file)
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


def test_the_same_day_is_drawn_the_same_and_as_png_too(run: Run, window: Found, day: Path, tmp_path: Path) -> None:
    files = [tmp_path / name for name in ("a.svg", "b.svg", "c.png")]
    for file in files:
        window("--forecast", day, "--figure", file)
    assert files[0].read_bytes() == files[1].read_bytes()
    with Image.open(files[2]) as picture:
        assert picture.width > 1000 and "stop (" in picture.info["Description"]
    assert not list(tmp_path.glob(".*"))
    figure = ("window", "--forecast", day, "--figure")
    assert "must end in .svg or .png" in run(*figure, tmp_path / "a.pdf").refusal
    assert "there is no folder" in run(*figure, tmp_path / "none" / "a.svg").refusal


def test_the_words_name_every_verdict_of_the_day(day: Path) -> None:
    judged = judge_day(
        read_forecast(day), load_rules(), [Spray("x", (4, 4), "published: x")], Occasion(sunrise=6, sunset=18)
    )
    words = in_words(judged)
    assert words.count(" go") == sum(1 for run in judged.runs() if run[0].verdict.word == "go") == 1
    assert words.startswith("06:00 to 07:00 stop (inversion); 07:00 to 12:00 go;")


def test_degree_days_in_both_units_against_their_own_model(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "spring.csv"
    file.write_text("date,max,min\n" + "".join(f"2026-09-{d:02d},22,8\n" for d in range(1, 11)), encoding="utf-8")
    found = run("degree-days", file, "--base", 10, "--weed", "digitaria_sanguinalis", "--json").json
    assert (found["c_days"], found["f_days"]) == (50, 90) and (found["base_c"], found["base_f"]) == (10, 50)
    stands = {entry["model"]: entry["stand"] for entry in found["thresholds"]}
    assert stands["Virginia Tech"] == "within" and stands["Purdue"] == "before"
    assert list(stands.values()).count("another model") == 1
    assert len(found["soil"]) == 3 and any("2026-09-01" in note for note in found["notes"])
    other = run("degree-days", file, "--base", 8, "--json").json
    assert {entry["stand"] for entry in other["thresholds"]} == {"another model"}
    out = run("degree-days", file, "--base", "10", "--weed", "Kyllinga brevifolia").out
    assert out.startswith("50.0 C-days over 10 C, which is 90.0 F-days over 50 F") and "18 °C or more" in out


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ("--base 10", "75 C is impossible"),
        ("--base 10 --unit K", "'K' is not one of 'c', 'f'"),
        ("--base 500 --unit F", "base of 500"),
        ("--base 50 --unit F --weed nosuch", "not in the flora"),
    ],
)
def test_degree_days_refuse_bad_input(run: Run, tmp_path: Path, options: str, says: str) -> None:
    file = tmp_path / "spring.csv"
    file.write_text("date,max,min\n2026-09-01,75,50\n", encoding="utf-8")
    assert says in run("degree-days", file, *options.split()).refusal
