"""The commands `advise` and `year` as people type them."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from PIL import Image

from app.command_line import main
from app.records import Profile, open_records
from app.web import api

Run = Callable[..., tuple[int, str, str]]
BINDII = ("advise", "bindii", "--month", "6", "--lawn", "buffalo")


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run a command: its exit status, and what it printed on both streams."""

    def command(*arguments: str) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as ended:
            main(list(arguments))
        out, err = capsys.readouterr()
        return int(ended.value.code or 0), out, err

    return command


def test_the_api_plans_for_the_state_that_was_saved_as_the_command_does(run: Run) -> None:
    with open_records() as records:
        records.keep_profile(Profile(state="WA"))
    asked = found(run, *BINDII)
    assert json.loads(json.dumps(api._advise(["bindii"], {"month": 6, "lawn": "buffalo"}))) == asked
    assert asked != found(run, *BINDII, "--state", "NSW")


def found(run: Run, *arguments: str) -> Any:
    """The object that a command prints with --json."""
    status, out, err = run(*arguments, "--json")
    assert (status, err) == (0, "")
    return json.loads(out)


def test_advise_prints_the_object_of_the_design(run: Run) -> None:
    made = found(run, "advise", "soliva_sessilis", "--lawn", "buffalo", "--month", "6")
    assert made["species"] == "soliva_sessilis" and made["cautions"]
    assert made["summary"].startswith("Now: ") and "bromoxynil + MCPA (groups 6 and 4)" in made["summary"]
    assert {"summary", "first", "case", "options", "only_for", "cautions", "law", "year"} <= set(made)
    for option in made["options"]:
        assert {"method", "actives", "suited", "why", "months", "sources", "standing"} <= set(option)
        assert option["suited"] in ("yes", "wait", "no")
        assert all(line.endswith("]") for line in option["why"]), "every statement carries its standing"
        for active in option["actives"]:
            assert {"name", "group", "lawn_rating", "rain_fast_hours"} <= set(active)
            assert active["lawn_rating"] in ("safe", "caution", "injures", "unknown")


@pytest.mark.parametrize(
    ("name", "plants"),
    [
        ("oxalis", {"oxalis_pes_caprae", "oxalis_corniculata", "oxalis_latifolia"}),
        ("clover", {"trifolium_repens", "trifolium_subterraneum"}),
        ("milk thistle", {"sonchus_oleraceus"}),
    ],
)
def test_a_name_of_several_plants_is_a_shortlist_unless_it_must_be_exact(name: str, plants: set[str], run: Run) -> None:
    named = ("advise", name, "--month", "6", "--lawn", "Tall fescue", "--state", "nsw")
    assert plants <= set(found(run, *named)["species"])
    status, out, err = run(*named, "--exact")
    assert (status, out) == (2, "") and err.count("\n") == 1
    assert all(plant in err for plant in plants)


def test_a_plan_is_printed_with_standing_references_and_law(run: Run) -> None:
    about = ("--month", "5", "--lawn", "couch", "--state", "VIC", "--near", "pond", "--stage", "seeding")
    status, out, _ = run("advise", "dandelion", "catsear", *about)
    assert status == 0
    words = ("applies to every weed", "Dandelion or catsear?", "[common practice]", "What it won't fix", "WAIT ")
    headings = ("First of all", "What to do now, in May", "Ruled out here, and why", "Cautions", "Law", "References")
    assert [one for one in (*words, *headings, "Licence, Victoria") if one not in out] == []
    assert "applies to every weed" not in run("advise", "soursob", *about, "--exact")[1]


def test_a_plan_begins_with_what_to_do_and_says_nothing_twice(run: Run) -> None:
    """The issue's example: bindii on buffalo in June."""
    _, out, _ = run(*BINDII)
    heading, _, rest = " ".join(out.split()).partition(" Now: ")
    now, _, more = rest.partition(" For more: ")
    assert heading == "bindii: buffalo lawn, June" and "pull" in now
    assert more.startswith(
        "bromoxynil + MCPA (groups 6 and 4), until the end of August, on buffalo except ST varieties"
    )
    assert "label first" in more
    ruled_out = " ".join(out.partition("Ruled out here, and why")[2].partition("About the name")[0].split())
    assert "2,4-D injures buffalo, so not 2,4-D + mecoprop + dicamba. [published" in ruled_out
    lines = [line.strip() for line in out.splitlines() if len(line.strip()) >= 40]
    assert sorted(set(lines)) == sorted(lines)


def test_what_is_true_of_two_plants_is_said_once_and_no_month_is_no_best_month(run: Run) -> None:
    _, out, _ = run("advise", "fishtail_oxalis", "pink_shamrock", "soursob", "--month", "7", "--lawn", "couch")
    said = " ".join(out.split())
    assert "Fishtail oxalis or pink shamrock: It comes back from a nest of loose bulblets" in said
    assert said.count("nest of loose bulblets") == 1
    assert "Best months: none that suits all of them." in said


def test_a_lawn_is_not_weeded_out_of_itself(run: Run) -> None:
    couch = ("advise", "couch", "--month", "1", "--lawn")
    _, out, _ = run(*couch, "couch")
    assert "Couch is this lawn itself" in out and "What to do" not in out and "Cautions" not in out
    made = found(run, *couch, "couch")
    assert "this lawn itself" in made["summary"] and made["options"] == made["only_for"] == made["cautions"] == []
    assert found(run, *couch, "buffalo")["options"], "in buffalo it is a weed"


@pytest.mark.parametrize(("cultivar", "suited"), [("ST", "no"), ("sapphire", "yes"), (None, "yes")])
def test_the_cultivar_decides_where_it_is_given(cultivar: str | None, suited: str, run: Run) -> None:
    """Common practice, no source: the labels of broadleaf herbicides leave the ST varieties of buffalo out."""
    made = found(run, *BINDII, *(["--cultivar", cultivar] if cultivar else []))
    (mix,) = [o for o in made["options"] if [a["name"] for a in o["actives"]] == ["bromoxynil", "MCPA"]]
    assert mix["suited"] == suited
    assert ("ST varieties" in " ".join(mix["not_on_cultivars"])) is (cultivar is None)
    assert ("bromoxynil" in made["summary"]) is (suited == "yes")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--lawn", "bufalo"], "did you mean buffalo"),
        (["--month", "Juntober"], "is not a month; give 1 to 12, or a name such as May"),
        (["--used", "four"], "not a group number"),
        (["--cover", "150"], "impossible"),
        (["--near", "cats"], "near 'cats'"),
        (["--cultivar", "saphire"], "did you mean sapphire"),
        (["--lawn", "couch", "--cultivar", "st"], "no cultivars of couch are listed here"),
    ],
)
def test_bad_input_gets_one_sentence(arguments: list[str], words: str, run: Run) -> None:
    status, out, err = run(*BINDII, *arguments)
    assert (status, out) == (2, "") and words in err and err.count("\n") == 1


def test_a_year_is_given_in_words_and_drawn(run: Run, tmp_path: Path) -> None:
    svg, png = tmp_path / "year.svg", tmp_path / "year.png"
    assert "flowers: Aug to Dec" in run("year", "bindii", "nutgrass", "--figure", str(svg))[1]
    text = "".join(ElementTree.parse(svg).getroot().itertext())
    assert "Soliva sessilis" in text and "Hand removal: Apr to Aug" in text, "the picture is also told in words"
    found(run, "year", "bindii", "--month", "6", "--figure", str(png))
    with Image.open(png) as image:
        assert image.width > 800
    for name, words in (("year.gif", "must end in .svg or .png"), ("none/year.svg", "there is no folder")):
        status, _, err = run("year", "bindii", "--figure", str(tmp_path / name))
        assert status == 2 and words in err


@pytest.mark.parametrize(
    ("typed", "lawn", "cultivar"),
    [
        ("Palmetto", "buffalo", "palmetto"),
        ("matilda buffalo", "buffalo", "matilda"),
        ("Sir Walter", "buffalo", "other"),
        ("ST-26", "buffalo", "st"),
        ("Blue couch", "queensland_blue_couch", None),
        ("Santa Ana", "couch", None),
    ],
)
def test_a_lawn_may_be_called_as_people_call_it(typed: str, lawn: str, cultivar: str | None, run: Run) -> None:
    by_id = ["--lawn", lawn, *(["--cultivar", cultivar] if cultivar else [])]
    called = found(run, "advise", "bindii", "--month", "July", "--lawn", typed)
    assert called == found(run, "advise", "bindii", "--month", "7", *by_id)


def test_a_weed_needs_no_quotes_and_the_month_is_this_one(run: Run) -> None:
    month = str(date.today().month)
    assert found(run, "advise", "winter", "grass") == found(run, "advise", "poa annua", "--month", month)


def test_several_weeds_together_are_planned_for_at_once_and_a_shortlist_is_one_of_them(run: Run) -> None:
    named = ("advise", "bindii", "winter", "grass", "--month", "7", "--lawn", "couch")
    together, shortlist = found(run, *named, "--together"), found(run, *named)
    assert together["species"] == shortlist["species"] == ["soliva_sessilis", "poa_annua"]
    assert together["case"]["together"] and not shortlist["case"]["together"]
    said = " ".join(run(*named, "--together")[1].split())
    assert "bindii and winter grass: couch lawn" in said and "One pass for all of them" in said
    assert "bindii or winter grass: couch lawn" in " ".join(run(*named)[1].split())
    several = " ".join(run("advise", "oxalis", "--month", "7", "--lawn", "kikuyu")[1].split())
    assert several.startswith("pink wood sorrel, creeping oxalis, fishtail oxalis,") and "no month" not in several
    assert "Creeping oxalis, grassland wood sorrel and shady wood sorrel: Mow higher" in several


def test_together_needs_two_weeds_of_which_each_is_one(run: Run) -> None:
    assert "is for two weeds or more" in run("advise", "bindii", "--together")[2]
    assert "may be any of several plants" in run("advise", "bindii", "clover", "--together")[2]
