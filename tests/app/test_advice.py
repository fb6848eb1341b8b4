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
    status, _, err = run(capsys, "advise", "clover", "--month", "6")
    assert status == 2
    assert "trifolium_repens" in err and "trifolium_subterraneum" in err


def test_a_plan_is_printed_with_standing_works_and_no_rate(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(
        capsys, "advise", "dandelion", "catsear", "--lawn", "couch", "--month", "5", "--state", "VIC", "--near", "pond"
    )
    assert status == 0
    assert "Holds for all" in out and "dandelion or catsear?" in out
    assert "Published works" in out and "[common practice]" in out and "Licence, Victoria" in out


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--lawn", "bufalo"], "did you mean buffalo"),
        (["--used", "four"], "no group number"),
        (["--cover", "150"], "impossible"),
        (["--near", "cats"], "near 'cats'"),
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
    assert "Soliva sessilis" in text and "Hand removal: May to Aug" in text, "the picture is also told in words"
    assert run(capsys, "year", "bindii", "--month", "6", "--figure", str(png), "--json")[0] == 0
    with Image.open(png) as image:
        assert image.width > 800
    status, _, err = run(capsys, "year", "bindii", "--figure", str(tmp_path / "year.gif"))
    assert status == 2 and "neither .svg nor .png" in err
    status, _, err = run(capsys, "year", "bindii", "--figure", str(tmp_path / "none" / "year.svg"))
    assert status == 2 and "cannot be written" in err
