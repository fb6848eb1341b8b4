"""Lawn, plan, spraying, sums and the papers of the path, without a browser."""

from __future__ import annotations

import html
import re
from datetime import date
from pathlib import Path

import pytest

from app.present.plan import option_key
from app.records import Client, GroupUse, Site, open_records
from app.services.labels import labels_read
from app.web.context import Context
from app.web.draft import Draft, new_id
from app.web.paper_files import PAPERS
from app.web.plan_page import made_plan
from app.web.steps import STEPS
from app.web.sums_page import result_of
from model.control import Control
from model.errors import SwardkeyError
from model.flora.character import PARTS
from model.identify import Key
from model.traits import check_answers
from tests.app.page_visitor import Person, context_of, typical

FORECAST = "time,temperature,humidity,wind,rain\n2026-11-26T09:00,20,60,8,0\n2026-11-26T10:00,22,55,9,0\n"
BUFFALO = {"lawn": "buffalo", "place": "lawn", "month": "11", "state": "NSW"}
FINE = {"temperature": "20", "humidity": "60", "wind": "9", "hour": "11:00", "rain_in": "24", "state": "NSW"}


@pytest.fixture
def context(key: Key, control: Control) -> Context:
    return context_of(key, control)


def proven(key: Key) -> Draft:
    """What is kept of a proven dandelion, at the step of the lawn."""
    answers = check_answers(key.flora.characters, typical(key))
    return Draft(new_id(), "lawn", STEPS.index("lawn"), month=11, visible=PARTS, answers=answers)


def at_the_lawn(context: Context) -> Person:
    """Someone with a proven dandelion, at the step of the lawn."""
    draft = proven(context.key)
    context.drafts.save(draft)
    return Person(context, {"plant": draft.id})


@pytest.fixture
def planner(context: Context) -> Person:
    return at_the_lawn(context)


@pytest.fixture
def sprayer(planner: Person) -> Person:
    return planner.press("make_plan", **BUFFALO).choose_a_spray()


def draft_of(person: Person) -> Draft:
    """What is kept of the person's plant."""
    draft = person.context.drafts.read(person.plant)
    assert draft is not None
    return draft


def suited(person: Person) -> dict[str, str]:
    """Whether each mix suits, by the plan of the person's plant."""
    return {option.mix: option.suited for option in made_plan(person.context, draft_of(person)).options}


def test_what_was_given_of_the_lawn_is_there_again(planner: Person) -> None:
    planner.press("make_plan", lawn="couch", place="lawn", month="6", cover="12.5", near=["pond", "bees"], used=["4"])
    again = Person(planner.context, {"plant": planner.plant}).press("go", "lawn")
    assert all(f'value="{checked}" checked' in again.text for checked in ("couch", "pond", "bees", "4"))
    assert 'value="12.5"' in again.text


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("cover", "lots", "Cover"),
        ("cover", "140", "140"),
        ("lawn", "moon", "moon"),
        ("state", "XX", "XX"),
        ("month", "13", "13"),
    ],
)
def test_a_lawn_that_cannot_be_gets_a_sentence(planner: Person, field: str, value: str, words: str) -> None:
    planner.press("make_plan", **{"lawn": "couch", "place": "lawn", "month": "6", field: value})
    assert words in planner.notices[0] and planner.title == "This lawn"


def test_a_place_in_the_records_gives_its_lawn_and_the_groups_used(planner: Person) -> None:
    with open_records() as records:
        client = records.add_client(Client(name="Mara"))
        site = records.add_site(Site(client=client.id, address="4 Rill", state="VIC", lawn="kikuyu", near=("pets",)))
        records.add_group_use(GroupUse(site=site.id, day=date(2026, 3, 1), group=4))
    planner.press("from_site", site=str(site.id))
    assert 'value="kikuyu" checked' in planner.text and 'value="4" checked' in planner.text
    planner.press("make_plan", lawn="kikuyu", place="lawn", month="6", used=["4"], site=str(site.id))
    assert "Group 4 was used here before" in planner.text


def test_the_plan_begins_with_what_to_do_and_never_gives_a_rate(sprayer: Person) -> None:
    summary = made_plan(sprayer.context, draft_of(sprayer)).summary
    sprayer.press("go", "plan")
    shown = re.findall(r"<p>(.*?)</p>", sprayer.text.split('class="summary">')[1].split("</div>")[0])
    assert [html.unescape(line) for line in shown] == list(summary) and summary[0].startswith("Now: ")
    words = (
        shown[0],
        "The year of dandelion",
        "What to do now, in November",
        "lawn: ",
        "Choose this option",
        "Ruled out here, and why",
        "<summary>Cautions",
        "<summary>Law",
    )
    places = [sprayer.text.index(one) for one in (*words, "<summary>Sources")]
    assert places == sorted(places)
    assert "L/ha" not in sprayer.text and "mL" not in sprayer.text


def test_an_option_is_folded_to_a_line_and_every_standing_lies_behind_one_mark(sprayer: Person) -> None:
    options = sprayer.press("go", "plan").text.split('<article class="option')[1:]
    assert len(options) > 4
    for option in options:
        line, folded = option.split("<details>", 1)
        assert "<li>" not in line and "Best months" in folded, "what is for and against it is inside"
    assert sprayer.text.count('class="fold sources"') == 1
    without = re.sub(r'<span class="stands">\[[^<]*\]</span>', "", sprayer.text)
    assert without.count("[common practice") == 0 and sprayer.text.count("[common practice") > 5


def test_what_is_ruled_out_cannot_be_chosen(sprayer: Person) -> None:
    sprayer.press("go", "plan")
    ruled_out = made_plan(sprayer.context, draft_of(sprayer)).by("no")
    assert {"2,4-D", "MCPA + dicamba"} <= {option.mix for option in ruled_out}
    assert "choose what you will do" in sprayer.press("choose", choice="").notices[0]
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
    mix = 'value="selective+bromoxynil+MCPA"'
    assert mix in planner.press("make_plan", **BUFFALO).text
    assert mix not in planner.press("go", "lawn").press("make_plan", **BUFFALO, cultivar="st").text
    again = Person(planner.context, {"plant": planner.plant}).press("go", "lawn")
    assert re.search(r'value="st"[^>]*(?:checked|selected)', again.text)
    planner.press("go", "lawn").press("make_plan", **{**BUFFALO, "lawn": "couch"}, cultivar="st")
    assert planner.notices == [] and draft_of(planner).lawn["cultivar"] == "", "couch has none"


def test_a_label_that_was_read_unlocks_an_option_until_it_is_taken_back(planner: Person) -> None:
    planner.press("make_plan", lawn="kikuyu", place="lawn", month="5", state="NSW")
    asked = re.search(r'data-do="read_label" data-with="([^"]+)"', planner.text)
    assert asked is not None, "something is unknown of kikuyu"
    mix, before = html.unescape(asked[1]), suited(planner)
    assert "who read it" in planner.press("read_label", mix, number="54321", by="").notices[0]
    assert "registration number" in planner.press("read_label", mix, number="", by="Kim").notices[0]
    assert suited(planner) == before and labels_read() == ()
    planner.press("read_label", mix, number="54321", by="Kim Grower")
    assert "by the label, read by Kim Grower" in planner.notices[0]
    assert "lawn: by the label" in planner.text and f'data-do="revoke" data-with="{asked[1]}"' in planner.text
    (read,) = labels_read()
    assert (" + ".join(read.actives), read.lawn, read.number) == (mix, "kikuyu", "54321")
    assert ("54321" in planner.text and suited(planner) != before) or before[mix] == "wait"
    assert "Withdrawn" in planner.press("revoke", mix).notices[0]
    assert suited(planner) == before and labels_read() == () and "lawn: by the label" not in planner.text
    planner.press("go", "lawn").press("make_plan", **BUFFALO)
    notice = planner.press("read_label", "2,4-D", number="54321", by="Kim").notices[0]
    assert "2,4-D is known to injure buffalo" in notice and labels_read() == (), "no label changes that"


def test_the_whole_mix_that_was_chosen_is_judged(sprayer: Person) -> None:
    """In heat MCPA leaves as vapour (common practice), so bromoxynil + MCPA does too."""
    hot = {**FINE, "temperature": "32"}
    assert re.search(r'value="bromoxynil \+ MCPA" selected', sprayer.text)
    sprayer.press("weigh", **hot, active="bromoxynil + MCPA")
    assert "STOP" in sprayer.text and "MCPA at 32 °C" in html.unescape(sprayer.text)
    assert all(f"{active} needs" in sprayer.text for active in ("bromoxynil", "MCPA")), "each is judged by itself"
    assert "STOP" not in sprayer.press("weigh", **hot, active="bromoxynil").text


def test_the_window_stops_what_the_plan_forbids(sprayer: Person) -> None:
    sprayer.press("weigh", **FINE, active="2,4-D")
    assert "STOP" in sprayer.text and "2,4-D injures buffalo" in sprayer.text
    sprayer.press("go", "lawn").press("make_plan", lawn="couch", place="lawn", month="12", state="TAS")
    sprayer.press("choose", choice="hand").press("go", "spray")
    sprayer.press("weigh", **{**FINE, "state": "TAS"}, active="2,4-D")
    assert "STOP" in sprayer.text and "Tasmania: 2,4-D is banned" in sprayer.text
    sprayer.press("weigh", **{**FINE, "state": "VIC"}, active="2,4-D")
    assert "STOP" not in sprayer.text and "banned" not in sprayer.text


def test_readings_are_judged_and_what_is_missing_is_named(planner: Person) -> None:
    planner.press("make_plan", lawn="unknown", place="paving", month="5", state="NSW")
    planner.press("choose", choice="non_selective+glyphosate")
    assert "Wind" in planner.press("weigh", temperature="20", humidity="50").notices[0]
    assert "900" in planner.press("weigh", temperature="900", humidity="50", wind="9").notices[0]
    dry = {name: value for name, value in FINE.items() if name != "rain_in"}
    assert "GO SO FAR: rain not judged yet" in planner.press("weigh", **dry, active="glyphosate").text
    assert "GO: " in planner.press("weigh", **FINE, active="glyphosate").text
    planner.press("weigh", temperature="20", humidity="60", wind="35", hour="11:00", state="NSW")
    reasons = planner.text.split("STOP")[1].split('class="readings"')[0]
    assert "--" not in reasons, "the options of the command line are not named"


def test_a_forecast_is_drawn_and_a_wrong_row_is_named(sprayer: Person, tmp_path: Path) -> None:
    file = tmp_path / "day.csv"
    file.write_text(FORECAST)
    sprayer.add_forecast(file)
    assert 'class="chart"' in sprayer.text and not file.exists()
    file.write_text(FORECAST.replace("22,55", "22,550"))
    sprayer.add_forecast(file)
    assert "row 3" in sprayer.notices[0] and str(tmp_path) not in sprayer.text
    file.write_bytes(b"\xff\xfe\x00")
    sprayer.add_forecast(file)
    assert "not text" in sprayer.notices[0]
    assert 'class="chart"' not in sprayer.press("by_readings").text


def test_sums_take_the_rate_from_the_user_and_ask_about_slips(sprayer: Person) -> None:
    assert "rate on the label" in sprayer.press("sum", "tank", tank="10", output="400").notices[0]
    assert "75 mL" in sprayer.press("sum", "tank", tank="10", output="400", rate="3 L/ha", area="500").text
    sprayer.press("sum", "spot", volume="5", rate="3 L/ha")
    assert "never carry a boom rate into a spot mix" in sprayer.text
    slip = {"tank": "5000", "output": "400", "rate": "3 L/ha"}
    sprayer.press("sum", "tank", **slip)
    assert "The numbers are right" in sprayer.text and "37.5 L" not in sprayer.text
    assert "37.5 L" in sprayer.press("sum", "tank", **slip, sure="yes").text


@pytest.mark.parametrize(
    ("kind", "typed", "words"),
    [
        ("nitrogen", {"analysis": "14-0-0", "rate": "35 g/m2", "area": "100"}, "nitrogen"),
        ("by_area", {"litres": "2", "area": "50"}, "400 L/ha"),
        ("by_speed", {"flow": "1.2", "speed": "4", "swath": "1.5"}, "120 L/ha"),
        ("granule", {"rate": "a lot", "area": ""}, "Rate on the label: "),
    ],
)
def test_every_sum_is_worked_out(kind: str, typed: dict[str, str], words: str) -> None:
    assert words in str(result_of(kind, typed))


def test_papers_are_pdf_and_need_a_plan(sprayer: Person) -> None:
    for make in PAPERS.values():
        assert make(sprayer.context, draft_of(sprayer)).startswith(b"%PDF-")
    with pytest.raises(SwardkeyError, match="no plan"):
        PAPERS["advice"](sprayer.context, Draft(new_id()))
