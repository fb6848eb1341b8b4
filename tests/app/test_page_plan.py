"""Lawn, plan, spraying, sums and the papers of the path, without a browser."""

from __future__ import annotations

from pathlib import Path

import pytest

from app.records import Client, GroupUse, Site, open_records
from app.web.paper import PAPERS
from app.web.shed import Shed
from app.web.sums import SUMS, WORK, result_of
from model.control import Control
from model.identify import Key
from tests.app.page_visitor import Person, shed_of

FORECAST = "time,temperature,humidity,wind,rain\n2026-11-26T09:00,20,60,8,0\n2026-11-26T10:00,22,55,9,0\n"


@pytest.fixture
def shed(key: Key, control: Control) -> Shed:
    return shed_of(key, control)


@pytest.fixture
def planner(shed: Shed) -> Person:
    """Someone with a dandelion, at the step of the lawn."""
    return Person(shed).press("look", month="11").prove().press("onward")


@pytest.fixture
def sprayer(planner: Person) -> Person:
    planner.press("make_plan", lawn="buffalo", place="lawn", month="11", state="NSW")
    return planner.choose_a_spray()


def test_what_was_told_of_the_lawn_is_there_again(planner: Person) -> None:
    planner.press("make_plan", lawn="couch", place="lawn", month="6", cover="12.5", near=["pond", "bees"], used=["4"])
    again = Person(planner.shed, {"plant": planner.plant}).press("go", "lawn")
    for checked in ("couch", "pond", "bees", "4"):
        assert f'value="{checked}" checked' in again.text
    assert 'value="12.5"' in again.text


@pytest.mark.parametrize(
    ("field", "value", "told"),
    [
        ("cover", "lots", "Cover"),
        ("cover", "140", "140"),
        ("lawn", "moon", "moon"),
        ("state", "XX", "XX"),
        ("month", "13", "13"),
    ],
)
def test_a_lawn_that_cannot_be_is_said_in_a_sentence(planner: Person, field: str, value: str, told: str) -> None:
    planner.press("make_plan", **{"lawn": "couch", "place": "lawn", "month": "6", field: value})
    assert told in planner.notices[0] and planner.title == "This lawn"


def test_a_place_in_the_records_tells_its_lawn_and_the_groups_used(planner: Person) -> None:
    from datetime import date

    with open_records() as records:
        client = records.add_client(Client(name="Mara"))
        site = records.add_site(Site(client=client.id, address="4 Rill", state="VIC", lawn="kikuyu", near=("pets",)))
        records.tell_group(GroupUse(site=site.id, day=date(2026, 3, 1), group=4))
    planner.press("from_site", site=str(site.id))
    assert 'value="kikuyu" checked' in planner.text and 'value="4" checked' in planner.text
    planner.press("make_plan", lawn="kikuyu", place="lawn", month="6", used=["4"], site=str(site.id))
    assert "Group 4 was used here before" in planner.text


def test_the_plan_shows_each_option_with_its_reasons_and_never_a_rate(sprayer: Person) -> None:
    sprayer.press("go", "plan")
    for words in ("Do it now", "lawn: ", "The year of dandelion", "Always", "Published works"):
        assert words in sprayer.text
    assert "L/ha" not in sprayer.text and "mL" not in sprayer.text
    assert "Choose what you will do" in sprayer.press("choose", choice="").notices[0]


def test_readings_are_judged_and_what_lacks_is_named(sprayer: Person) -> None:
    assert "Wind" in sprayer.press("weigh", temperature="20", humidity="50").notices[0]
    assert "900" in sprayer.press("weigh", temperature="900", humidity="50", wind="9").notices[0]
    sprayer.press("weigh", temperature="20", humidity="60", wind="35", hour="11:00", state="NSW")
    assert "STOP" in sprayer.text and "--" not in sprayer.text.split('class="readings"')[0].split("STOP")[1]


def test_a_forecast_is_drawn_and_a_wrong_row_is_named(sprayer: Person, tmp_path: Path) -> None:
    file = tmp_path / "day.csv"
    file.write_text(FORECAST)
    sprayer.shown = sprayer.pages.add_forecast(sprayer.plant, str(file))
    assert "<svg" in sprayer.shown[4] and not file.exists()
    file.write_text(FORECAST.replace("22,55", "22,550"))
    sprayer.shown = sprayer.pages.add_forecast(sprayer.plant, str(file))
    assert "row 3" in sprayer.notices[0] and str(tmp_path) not in sprayer.text
    file.write_bytes(b"\xff\xfe\x00")
    sprayer.shown = sprayer.pages.add_forecast(sprayer.plant, str(file))
    assert "not text" in sprayer.notices[0]
    assert "<svg" not in sprayer.press("by_readings").shown[4]


def test_sums_take_the_rate_from_the_user_and_ask_about_slips(sprayer: Person) -> None:
    assert "rate on the label" in sprayer.press("sum", "tank", tank="10", output="400").notices[0]
    sprayer.press("sum", "tank", tank="10", output="400", rate="3 L/ha", area="500")
    assert "75 mL" in sprayer.text
    sprayer.press("sum", "spot", volume="5", rate="3 L/ha")
    assert "never carry a boom rate into a spot mix" in sprayer.text
    sprayer.press("sum", "tank", tank="5000", output="400", rate="3 L/ha")
    assert "The numbers are right" in sprayer.text and "37.5 L" not in sprayer.text
    sprayer.press("sum", "tank", tank="5000", output="400", rate="3 L/ha", sure="yes")
    assert "37.5 L" in sprayer.text


def test_every_sum_has_a_way_to_work_it_out() -> None:
    assert set(SUMS) == set(WORK)
    told = result_of("nitrogen", {"analysis": "14-0-0", "rate": "35 g/m2", "area": "100"})
    assert any("nitrogen" in what for what, _ in told["told"])
    assert "fault" in result_of("granule", {"rate": "a lot", "area": ""})
    assert "told" in result_of("by_area", {"litres": "2", "area": "50"})
    assert "told" in result_of("by_speed", {"flow": "1.2", "speed": "4", "swath": "1.5"})


def test_papers_are_pdf_and_need_a_plan(sprayer: Person) -> None:
    from model.errors import SwardkeyError

    draft = sprayer.shed.drafts.read(sprayer.plant)
    assert draft is not None
    for make in PAPERS.values():
        assert make(sprayer.shed, draft).startswith(b"%PDF-")
    blank = sprayer.shed.drafts.read(Person(sprayer.shed).press("look").plant)
    assert blank is not None
    with pytest.raises(SwardkeyError, match="no plan"):
        PAPERS["advice"](sprayer.shed, blank)
