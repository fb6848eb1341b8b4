"""The commands `advise` and `year` as people type them."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest
from PIL import Image

from app.command_line import main


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main(list(arguments))
    out, err = capsys.readouterr()
    return int(ended.value.code or 0), out, err


def test_advise_prints_the_object_of_the_design(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = run(capsys, "advise", "soliva_sessilis", "--lawn", "buffalo", "--month", "6", "--json")
    assert (status, err) == (0, "")
    found = json.loads(out)
    assert found["species"] == "soliva_sessilis"
    assert found["summary"].startswith("Now: ") and "bromoxynil + MCPA (groups 6 and 4)" in found["summary"]
    assert {"summary", "first", "case", "options", "only_for", "cautions", "law", "year"} <= set(found)
    for option in found["options"]:
        assert {"method", "actives", "suited", "why", "months", "sources", "standing"} <= set(option)
        assert option["suited"] in ("yes", "wait", "no")
        assert all(line.endswith("]") for line in option["why"]), "every statement carries its standing"
        for active in option["actives"]:
            assert {"name", "group", "lawn_rating", "rain_fast_hours"} <= set(active)
            assert active["lawn_rating"] in ("safe", "caution", "injures", "unknown")
    assert found["cautions"]


def test_a_weed_may_be_named_as_people_name_it(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(
        capsys, "advise", "Bindy-eye", "--lawn", "Tall fescue", "--month", "6", "--state", "nsw", "--json"
    )
    assert status == 0
    assert json.loads(out)["lawn"] == "tall_fescue"


@pytest.mark.parametrize(
    ("name", "plants"),
    [
        ("oxalis", {"oxalis_pes_caprae", "oxalis_corniculata", "oxalis_latifolia"}),
        ("clover", {"trifolium_repens", "trifolium_subterraneum"}),
        ("spurge", {"euphorbia_peplus", "euphorbia_maculata"}),
        ("milk thistle", {"sonchus_oleraceus"}),
    ],
)
def test_a_name_of_several_plants_is_a_shortlist_unless_it_must_be_exact(
    name: str, plants: set[str], capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, _ = run(capsys, "advise", name, "--month", "6", "--lawn", "couch", "--json")
    found = json.loads(out)
    assert status == 0 and plants <= set(found["species"])
    status, out, err = run(capsys, "advise", name, "--month", "6", "--lawn", "couch", "--exact")
    assert (status, out) == (2, "") and err.count("\n") == 1
    assert all(plant in err for plant in plants)


def test_oxalis_is_a_shortlist_with_soursob_in_it(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "advise", "oxalis", "--month", "5", "--lawn", "couch")
    assert status == 0 and "soursob" in out.splitlines()[0] and "applies to every weed" in out
    status, out, _ = run(capsys, "advise", "soursob", "--month", "5", "--lawn", "couch", "--exact")
    assert status == 0 and "applies to every weed" not in out


def test_a_plan_begins_with_what_to_do_in_one_breath(capsys: pytest.CaptureFixture[str]) -> None:
    """The issue's example: bindii on buffalo in June."""
    status, out, _ = run(capsys, "advise", "bindii", "--month", "6", "--lawn", "buffalo")
    heading, *rest = " ".join(out.split()).split(" Now: ", 1)
    now = rest[0].split(" For more: ")
    assert status == 0 and heading == "bindii: buffalo lawn, June"
    assert "pull" in now[0] and now[1].startswith(
        "bromoxynil + MCPA (groups 6 and 4), until the end of August, on buffalo"
    )
    assert "except ST varieties" in now[1] and "label first" in now[1]


def test_what_is_ruled_out_is_a_line_each_with_the_reason_first(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, "advise", "bindii", "--month", "6", "--lawn", "buffalo")
    told = " ".join(out.partition("Not here, and why")[2].partition("About the name")[0].split())
    assert "2,4-D injures buffalo, so not 2,4-D + mecoprop + dicamba. [published" in told
    lines = [line.strip() for line in out.splitlines() if line.strip()]
    for line in lines:
        assert lines.count(line) == 1 or len(line) < 40, f"said twice: {line}"


def test_a_lawn_is_not_weeded_out_of_itself(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "advise", "couch", "--month", "1", "--lawn", "couch")
    assert status == 0 and "Couch is this lawn itself" in out and len(out.splitlines()) == 3
    _, out, _ = run(capsys, "advise", "couch", "--month", "1", "--lawn", "couch", "--json")
    found = json.loads(out)
    assert "this lawn itself" in found["summary"] and found["options"] == found["only_for"] == found["cautions"] == []
    _, out, _ = run(capsys, "advise", "couch", "--month", "1", "--lawn", "buffalo", "--json")
    assert json.loads(out)["options"], "in buffalo it is a weed"


@pytest.mark.parametrize(("cultivar", "suited"), [("st", "no"), ("ST", "no"), ("sapphire", "yes"), (None, "yes")])
def test_the_cultivar_decides_where_it_is_told(
    cultivar: str | None, suited: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Common practice, no source: the labels of broadleaf herbicides leave the ST varieties of buffalo out."""
    told = ["--cultivar", cultivar] if cultivar else []
    _, out, _ = run(capsys, "advise", "bindii", "--month", "6", "--lawn", "buffalo", *told, "--json")
    found = json.loads(out)
    (mix,) = [o for o in found["options"] if [a["name"] for a in o["actives"]] == ["bromoxynil", "MCPA"]]
    assert mix["suited"] == suited
    assert ("ST varieties" in " ".join(mix["not_on_cultivars"])) is (cultivar is None)
    assert ("bromoxynil" in found["summary"]) is (suited == "yes")


def test_a_plan_is_printed_with_standing_works_and_no_rate(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(
        capsys, "advise", "dandelion", "catsear", "--lawn", "couch", "--month", "5", "--state", "VIC", "--near", "pond"
    )
    assert status == 0
    assert "applies to every weed" in out and "Dandelion or catsear?" in out
    assert "References" in out and "[common practice]" in out and "Licence, Victoria" in out


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--lawn", "bufalo"], "did you mean buffalo"),
        (["--used", "four"], "not a group number"),
        (["--cover", "150"], "impossible"),
        (["--near", "cats"], "near 'cats'"),
        (["--lawn", "buffalo", "--cultivar", "saphire"], "did you mean sapphire"),
        (["--lawn", "couch", "--cultivar", "st"], "no cultivars of couch are listed here"),
    ],
)
def test_bad_input_gets_one_sentence(arguments: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = run(capsys, "advise", "bindii", "--month", "6", *arguments)
    assert (status, out) == (2, "")
    assert told in err and err.count("\n") == 1


def test_a_year_is_told_and_drawn(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    svg, png = tmp_path / "year.svg", tmp_path / "year.png"
    status, out, _ = run(capsys, "year", "bindii", "nutgrass", "--figure", str(svg))
    assert status == 0 and "flowers: Aug to Dec" in out
    drawn = ElementTree.parse(svg).getroot()
    text = "".join(drawn.itertext())
    assert "Soliva sessilis" in text and "Hand removal: Apr to Aug" in text, "the picture is also told in words"
    assert run(capsys, "year", "bindii", "--month", "6", "--figure", str(png), "--json")[0] == 0
    with Image.open(png) as image:
        assert image.width > 800
    status, _, err = run(capsys, "year", "bindii", "--figure", str(tmp_path / "year.gif"))
    assert status == 2 and "neither .svg nor .png" in err
    status, _, err = run(capsys, "year", "bindii", "--figure", str(tmp_path / "none" / "year.svg"))
    assert status == 2 and "cannot be written" in err
