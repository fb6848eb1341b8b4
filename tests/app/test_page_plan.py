"""Lawn, plan, spraying, sums and the papers of the path, without a browser."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest

from app.present.plan import option_key
from app.records import Client, GroupUse, Site, open_records
from app.services.labels import labels_read
from app.web.context import Context
from app.web.draft import Draft
from app.web.paper_files import PAPERS
from app.web.plan_page import made_plan
from app.web.sums_page import result_of
from model.control import Control
from model.identify import Key
from tests.app.page_visitor import Person, context_of

FORECAST = "time,temperature,humidity,wind,rain\n2026-11-26T09:00,20,60,8,0\n2026-11-26T10:00,22,55,9,0\n"


@pytest.fixture
def context(key: Key, control: Control) -> Context:
    return context_of(key, control)


@pytest.fixture
def planner(context: Context) -> Person:
    """Someone with a dandelion, at the step of the lawn."""
    return Person(context).press("look", month="11").prove().press("onward")


@pytest.fixture
def sprayer(planner: Person) -> Person:
    planner.press("make_plan", lawn="buffalo", place="lawn", month="11", state="NSW")
    return planner.choose_a_spray()


def draft_of(person: Person) -> Draft:
    """What is kept of the person's plant."""
    draft = person.context.drafts.read(person.plant)
    assert draft is not None
    return draft


def test_what_was_told_of_the_lawn_is_there_again(planner: Person) -> None:
    planner.press("make_plan", lawn="couch", place="lawn", month="6", cover="12.5", near=["pond", "bees"], used=["4"])
    again = Person(planner.context, {"plant": planner.plant}).press("go", "lawn")
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
    for words in ("What to do now", "lawn: ", "The year of dandelion", "Cautions", "References"):
        assert words in sprayer.text
    assert "L/ha" not in sprayer.text and "mL" not in sprayer.text
    assert "Choose what you will do" in sprayer.press("choose", choice="").notices[0]


def test_the_plan_begins_with_what_to_do_in_one_breath(sprayer: Person) -> None:
    told = made_plan(sprayer.context, draft_of(sprayer)).summary
    sprayer.press("go", "plan")
    shown = re.findall(r"<p>(.*?)</p>", sprayer.text.split('class="summary">')[1].split("</div>")[0])
    assert [html.unescape(line) for line in shown] == list(told) and told[0].startswith("Now: ")
    assert sprayer.text.index(shown[0]) < sprayer.text.index("What to do now") < sprayer.text.index("Not here, and")


def test_what_is_ruled_out_can_not_be_chosen(sprayer: Person) -> None:
    sprayer.press("go", "plan")
    ruled_out = made_plan(sprayer.context, draft_of(sprayer)).by("no")
    assert {"2,4-D", "MCPA + dicamba"} <= {option.mix for option in ruled_out}
    for option in ruled_out:
        assert f'value="{option_key(option)}"' not in sprayer.text
        notice = sprayer.press("choose", choice=option_key(option)).notices[0]
        assert option.mix in notice and "Choose another way" in notice, option.mix
    assert sprayer.title.startswith("Dandelion: buffalo lawn")


def test_a_lawn_that_is_the_weed_itself_has_nothing_to_choose(planner: Person, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.web.lawn_page.plan_species", lambda context, draft: ("cynodon_dactylon",))
    planner.press("make_plan", lawn="couch", place="lawn", month="6")
    assert "this lawn itself" in planner.text and 'name="choice"' not in planner.text
    assert 'data-do="choose"' not in planner.text


def test_the_cultivar_of_buffalo_decides_and_is_there_again(planner: Person) -> None:
    """Common practice, no source: labels leave the ST varieties of buffalo out."""
    there = {"lawn": "buffalo", "place": "lawn", "month": "11", "state": "NSW"}
    mix = 'value="selective+bromoxynil+MCPA"'
    assert mix in planner.press("make_plan", **there).text
    assert mix not in planner.press("go", "lawn").press("make_plan", **there, cultivar="st").text
    again = Person(planner.context, {"plant": planner.plant}).press("go", "lawn")
    assert re.search(r'value="st"[^>]*(?:checked|selected)', again.text)
    planner.press("go", "lawn").press("make_plan", **{**there, "lawn": "couch"}, cultivar="st")
    assert planner.notices == [] and draft_of(planner).lawn["cultivar"] == "", "couch has none"


def test_a_label_that_was_read_unlocks_an_option_until_it_is_taken_back(planner: Person) -> None:
    planner.press("make_plan", lawn="kikuyu", place="lawn", month="5", state="NSW")
    asked = re.search(r'data-do="read_label" data-with="([^"]+)"', planner.text)
    assert asked is not None, "something is unknown of kikuyu"
    mix = html.unescape(asked[1])

    def suited() -> dict[str, str]:
        return {option.mix: option.suited for option in made_plan(planner.context, draft_of(planner)).options}

    before = suited()
    assert "who read it" in planner.press("read_label", mix, number="54321", by="").notices[0]
    assert "registration number" in planner.press("read_label", mix, number="", by="Kim").notices[0]
    assert suited() == before and labels_read() == ()
    planner.press("read_label", mix, number="54321", by="Kim Grower")
    assert "by the label, read by Kim Grower" in planner.notices[0]
    assert "lawn: by the label" in planner.text and f'data-do="revoke" data-with="{asked[1]}"' in planner.text
    (read,) = labels_read()
    assert (" + ".join(read.actives), read.lawn, read.number) == (mix, "kikuyu", "54321")
    assert ("54321" in planner.text and suited() != before) or before[mix] == "wait"
    assert "Taken back" in planner.press("revoke", mix).notices[0]
    assert suited() == before and labels_read() == ()
    assert "lawn: by the label" not in planner.text


def test_no_label_unlocks_what_injures_the_lawn(sprayer: Person) -> None:
    sprayer.press("go", "plan")
    notice = sprayer.press("read_label", "2,4-D", number="54321", by="Kim").notices[0]
    assert "2,4-D is known to injure buffalo" in notice and labels_read() == ()


def test_the_whole_mix_that_was_chosen_is_judged(sprayer: Person) -> None:
    """In heat MCPA leaves as vapour (common practice), so bromoxynil + MCPA does too."""
    hot = {"temperature": "32", "humidity": "60", "wind": "9", "hour": "11:00", "rain_in": "24", "state": "NSW"}
    assert re.search(r'value="bromoxynil \+ MCPA" selected', sprayer.text)
    sprayer.press("weigh", **hot, active="bromoxynil + MCPA")
    assert "STOP" in sprayer.text and "MCPA at 32 C" in html.unescape(sprayer.text)
    for active in ("bromoxynil", "MCPA"):
        assert f"{active} needs" in sprayer.text, "each part is judged by itself"
    assert "STOP" not in sprayer.press("weigh", **hot, active="bromoxynil").text


def test_the_window_stops_what_the_plan_forbids(sprayer: Person) -> None:
    fine = {"temperature": "20", "humidity": "60", "wind": "9", "hour": "11:00", "rain_in": "24"}
    sprayer.press("weigh", **fine, active="2,4-D", state="NSW")
    assert "STOP" in sprayer.text and "2,4-D injures buffalo" in sprayer.text
    sprayer.press("go", "lawn").press("make_plan", lawn="couch", place="lawn", month="12", state="TAS")
    sprayer.press("choose", choice="hand").press("go", "spray")
    sprayer.press("weigh", **fine, active="2,4-D", state="TAS")
    assert "STOP" in sprayer.text and "Tasmania: 2,4-D is banned" in sprayer.text
    sprayer.press("weigh", **fine, active="2,4-D", state="VIC")
    assert "STOP" not in sprayer.text and "banned" not in sprayer.text


def test_go_is_only_so_far_while_something_is_not_told(planner: Person) -> None:
    planner.press("make_plan", lawn="unknown", place="paving", month="5", state="NSW")
    planner.press("choose", choice="non_selective+glyphosate")
    fine = {"temperature": "20", "humidity": "60", "wind": "9", "state": "NSW", "active": "glyphosate"}
    told = {**fine, "hour": "11:00"}
    assert "GO SO FAR: rain not judged yet" in planner.press("weigh", **told).text
    assert "GO: " in planner.press("weigh", **told, rain_in="24").text


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
    told = result_of("nitrogen", {"analysis": "14-0-0", "rate": "35 g/m2", "area": "100"})
    assert any("nitrogen" in what for what, _ in told["blocks"][0].rows)
    assert "fault" in result_of("granule", {"rate": "a lot", "area": ""})
    assert "blocks" in result_of("by_area", {"litres": "2", "area": "50"})
    assert "blocks" in result_of("by_speed", {"flow": "1.2", "speed": "4", "swath": "1.5"})


def test_papers_are_pdf_and_need_a_plan(sprayer: Person) -> None:
    from model.errors import SwardkeyError

    draft = sprayer.context.drafts.read(sprayer.plant)
    assert draft is not None
    for make in PAPERS.values():
        assert make(sprayer.context, draft).startswith(b"%PDF-")
    blank = sprayer.context.drafts.read(Person(sprayer.context).press("look").plant)
    assert blank is not None
    with pytest.raises(SwardkeyError, match="no plan"):
        PAPERS["advice"](sprayer.context, blank)
