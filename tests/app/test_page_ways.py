"""Other ways in than by naming a weed: a known one, a spray check, sums, a kept visit; and what was left unfinished."""

from __future__ import annotations

import html
import re
from datetime import date
from typing import Any

import pytest

from app.records import Client, Product, Site, Treatment, open_records
from app.web import steps as flow
from app.web.context import Context
from app.web.draft import Draft, new_id
from app.web.flora_page import body as flora
from app.web.lawn_page import case_of
from app.web.paper_files import PAPERS
from app.web.plan_page import made_plan
from app.web.records_page import body as records_page
from app.web.spraying import Spraying, spraying_of
from model.control import Control
from model.flora.character import PARTS
from model.identify import Key
from model.traits import check_answers
from tests.app.page_visitor import Person, context_of, typical

BUFFALO = {"lawn": "buffalo", "place": "lawn", "month": "6", "state": "NSW"}
MIX = "selective+bromoxynil+MCPA"
FINE = {"temperature": "16", "humidity": "60", "wind": "9", "hour": "11:00", "rain_in": "24", "state": "NSW"}
TANK = {"tank": "10", "output": "400", "rate": "3 L/ha", "area": "350"}


@pytest.fixture
def context(key: Key, control: Control) -> Context:
    return context_of(key, control)


@pytest.fixture
def knower(context: Context) -> Person:
    """Someone who has come to advice on bindii in buffalo."""
    return Person(context, {"way": "known"}).press("make_plan", weed="bindii", **BUFFALO)


def draft_of(person: Person) -> Draft:
    draft = person.context.drafts.read(person.plant)
    assert draft is not None
    return draft


def links(text: str) -> list[str]:
    """Where the links of the pages lead that begin something."""
    return [html.unescape(found) for found in re.findall(r'href="(/\?[^"]+)"', text)]


def follow(context: Context, link: str) -> Person:
    return Person(context, dict(pair.split("=") for pair in link.removeprefix("/?").split("&")))


def test_the_first_page_offers_every_way_and_looking_saves_nothing(context: Context) -> None:
    person = Person(context)
    assert person.title == "Photos of one plant" and 'href="/records"' in person.text
    titles = {link: follow(context, link).title for link in links(person.text)}
    assert titles == {
        "/?way=known": "The weed and the lawn",
        "/?way=check": "Spray window and sums",
        "/?way=sums": "Sums",
    }
    with open_records() as records:
        assert records.recent_drafts() == ()
    assert 'data-kept="no"' in person.text


def test_a_known_weed_needs_its_name_and_the_lawn_only(knower: Person) -> None:
    assert knower.title == "Bindii: buffalo lawn, June" and "Step 2 of 4" in knower.text
    assert draft_of(knower).given == ("soliva_sessilis",) and 'data-kept="yes"' in knower.text
    again = Person(knower.context, {"plant": knower.plant, "step": "lawn"})
    assert 'name="weed"' in again.text and 'value="bindii"' in again.text
    assert "Photos" not in knower.text.split('aria-label="Steps"')[1].split("</nav>")[0]
    for make in PAPERS.values():
        assert make(knower.context, draft_of(knower)).startswith(b"%PDF-")


@pytest.mark.parametrize(("weed", "words"), [("", "Which weed is it?"), ("quandong tart", "not in the flora")])
def test_a_weed_that_is_not_known_gets_one_sentence(context: Context, weed: str, words: str) -> None:
    person = Person(context, {"way": "known"}).press("make_plan", weed=weed, **BUFFALO)
    assert len(person.notices) == 1 and words in person.notices[0] and person.title == "The weed and the lawn"
    assert "not in the flora" in Person(context, {"way": "known", "weed": "quandong tart"}).notices[0]


def test_a_name_of_several_plants_makes_one_plan_for_all_of_them(context: Context) -> None:
    person = Person(context, {"way": "known"}).press("make_plan", weed="milk thistles", **BUFFALO)
    found = draft_of(person)
    assert set(found.given) == {"sonchus_oleraceus", "silybum_marianum"}
    assert set(made_plan(context, found).case.species) == set(found.given)
    person.press("go", "lawn").press("make_plan", weed=found.called, **BUFFALO)
    assert draft_of(person).given == found.given, "its own words name the same plants"


def test_the_page_of_every_weed_leads_to_its_plan(context: Context) -> None:
    (link,) = links(flora(context, {"species": "soliva_sessilis"}))
    person = follow(context, link)
    assert 'value="bindii"' in person.text
    assert person.press("make_plan", weed="bindii", **BUFFALO).title.startswith("Bindii")


def test_all_actives_of_the_chosen_option_go_along_with_sums_and_weather(knower: Person) -> None:
    knower.press("choose", choice=MIX)
    assert "bromoxynil (group 6) + MCPA (group 4)" in knower.text
    knower.press("weigh", **FINE, active="bromoxynil + MCPA").press("sum", "tank", **TANK)
    found = spraying_of(knower.context, draft_of(knower))
    assert (found.actives, found.groups, found.state) == (("bromoxynil", "MCPA"), (6, 4), "NSW")
    assert (found.rate, found.area_m2, found.total, found.water_litres) == ("3 L/ha", 350.0, "105 mL", 14.0)
    assert found.weather is not None and found.weather.wind_speed == 9
    knower.press("to_record").press("keep", day="2026-06-05", who="Sam", client="Mara", address="4 Rill Street")
    with open_records() as records:
        visit: Any = records.current("visit", 1).record
        treatment: Any = records.treatments(visit=1)[0].record
    assert treatment.products == (found.product,) and treatment.area_m2 == 350
    assert (visit.findings[0].species, visit.findings[0].status) == ("soliva_sessilis", "given")
    assert "named on sight" in knower.text


def test_what_stands_in_a_record_is_not_overwritten() -> None:
    known = Spraying(("MCPA",), (4,), rate="1 L/ha", area_m2=50, total="5 mL")
    typed = Treatment(1, date(2026, 6, 5), products=(Product(name="Own", actives="MCPA", rate="2 L/ha"),), area_m2=70)
    filled = known.into(typed)
    (product,) = filled.products
    assert (product.name, product.rate, product.total_amount, product.groups) == ("Own", "2 L/ha", "5 mL", (4,))
    assert filled.area_m2 == 70
    other = (Product(actives="glyphosate"),)
    assert known.into(Treatment(1, date(2026, 6, 5), products=other)).products == other


def test_a_spray_check_needs_no_plant_and_the_strictest_active_decides(context: Context) -> None:
    """Published: dicamba injures buffalo; MCPA calls for care only (common practice)."""
    where = {"lawn": "buffalo", "place": "lawn"}
    person = Person(context, {"way": "check"}).press("weigh", **FINE, active="MCPA", **where)
    assert "STOP" not in person.text and "CAUTION" in person.text and person.notices == []
    person.press("weigh", **FINE, active="MCPA", **where, **{"with": "dicamba"})
    assert "STOP" in person.text and "Dicamba injures buffalo" in person.text
    assert "find out which buffalo" in person.text
    st = person.press("weigh", **FINE, active="MCPA + dicamba", **where, cultivar="st")
    assert "find out which buffalo" not in st.text and "STOP" in st.text
    assert 'value="MCPA + dicamba" selected' in person.text
    assert "Not in this case" in person.press("sum", "tank", **TANK).text and "105 mL" in person.text
    assert "STOP" not in person.press("weigh", **FINE, active="MCPA + dicamba", lawn="couch", place="lawn").text
    assert 'data-do="to_record"' not in person.text
    notice = person.press("weigh", **FINE, active="MCPA", lawn="moon", place="lawn").notices[0]
    assert "moon" in notice and draft_of(person).lawn["lawn"] == "couch"


def test_sums_need_neither_plant_nor_weather(context: Context) -> None:
    person = Person(context, {"way": "sums"})
    assert "Can I spray?" not in person.text
    assert "105 mL" in person.press("sum", "tank", **TANK).text and person.title == "Sums"


def called(person: Person) -> str:
    """What the browser is to remember of the plant."""
    found = re.search(r'data-called="([^"]*)"', person.text)
    assert found is not None
    return found[1]


def test_a_plant_is_gone_on_with_until_it_is_a_visit_and_a_tool_never(knower: Person) -> None:
    context = knower.context
    assert called(Person(context)) == "" and called(Person(context).press("look").see().answer()) == "Not named yet"
    assert called(Person(context, {"way": "sums"}).press("sum", "tank", **TANK)) == ""
    assert called(knower) == "Bindii" and 'data-at="Plan"' in knower.text
    assert knower.plant not in Person(context).text, "nobody else is shown it"
    knower.press("to_record").press("keep", day="2026-06-05", who="Sam", client="Mara", address="4 Rill Street")
    assert called(knower) == ""


def test_a_page_that_was_left_by_the_back_button_acts_at_its_own_step(knower: Person) -> None:
    """The browser's Back shows an earlier step; the draft was left at a later one."""
    back = {"address": f"?plant={knower.plant}&step=lawn", "plant": knower.plant, "do": "make_plan"}
    knower.send(**back, fields={"weed": ["wintergrass"], "lawn": ["couch"], "place": ["lawn"], "month": ["6"]})
    assert knower.faults == [] and knower.title.startswith("Winter grass"), knower.title
    later = {**back, "address": f"?plant={knower.plant}&step=record", "do": "keep"}
    assert "up to date now" in knower.send(**later, fields={}).faults[0], "a step that comes later is not reached"


def test_a_kept_visit_is_sprayed_on_another_day(context: Context) -> None:
    answers = check_answers(context.key.flora.characters, typical(context.key, "soliva_sessilis"))
    draft = Draft(new_id(), "lawn", flow.STEPS.index("lawn"), month=6, visible=PARTS, answers=answers)
    context.drafts.save(draft)
    first = Person(context, {"plant": draft.id}).press("make_plan", **BUFFALO).press("choose", choice=MIX)
    first.press("to_record").press("keep", day="2026-06-05", who="Sam", client="Mara", address="4 Rill", state="NSW")
    plan, check = (link for link in links(records_page(context, {"visit": "1"})) if "way=name" not in link)
    again = follow(context, plan)
    assert again.title == "The weed and the lawn" and 'value="buffalo" checked' in again.text
    friday = follow(context, check)
    assert friday.title == "Spray window and sums" and 'value="bromoxynil + MCPA" selected' in friday.text
    friday.press("weigh", **FINE, active="bromoxynil + MCPA").press("sum", "tank", **TANK).press("to_record")
    assert "4 Rill, 5 June 2026" in friday.text
    assert friday.press("keep_in_visit").title == "The record of the visit", friday.faults
    with open_records() as records:
        (one,) = records.treatments(visit=1)
        treatment: Any = one.record
        assert records.recent_drafts() == ()
        records.add_treatment(treatment)
    (product,) = treatment.products
    assert (product.actives, product.rate) == ("bromoxynil + MCPA", "3 L/ha") and treatment.day == date.today()
    assert treatment.weather[0].temperature == 16 and treatment.target.startswith("bindii")
    for unknown in ("99", "0", "9" * 30, "\u0663", "1x"):
        other = follow(context, f"/?way=check&visit={unknown}")
        assert len(other.faults) == 1, unknown


def test_a_new_visit_of_a_place_takes_over_what_is_known_of_it(context: Context) -> None:
    with open_records() as records:
        client = records.add_client(Client(name="Mara"))
        records.add_site(Site(client.id, "4 Rill", "VIC", "kikuyu", ("pets",), area_m2=120))
    naming, knowing = links(records_page(context, {"site": "1"}))
    assert naming == "/?way=name&site=1" and follow(context, naming).plant
    person = follow(context, knowing)
    for words in ('value="kikuyu" checked', 'value="pets" checked', '<option value="VIC" selected>'):
        assert words in person.text
    person.press("make_plan", weed="bindii", lawn="kikuyu", place="lawn", month="6", site="1", state="VIC")
    person.press("to_record").press("keep", day="2026-06-05", who="Sam", site="1")
    with open_records() as records:
        assert [visit.site for visit in records.visits()] == [1] and len(records.sites()) == 1
    assert "There is no site 99" in follow(context, "/?way=name&site=99").faults[0]


def test_a_visit_takes_the_weed_and_the_lawn_that_were_given_then(context: Context) -> None:
    with open_records() as records:
        client = records.add_client(Client(name="Mara"))
        site = records.add_site(Site(client.id, "4 Rill", "VIC", "kikuyu", ("pets",), area_m2=120))
    person = Person(context, {"way": "known"}).press("from_site", site=str(site.id))
    person.press("make_plan", weed="bindii", lawn="kikuyu", place="lawn", month="6", site=str(site.id))
    person.press("to_record").press("keep", day="2026-06-05", who="Sam", site=str(site.id))
    again = Person(context, {"way": "check", "visit": "1"})
    assert 'name="area" type="text" inputmode="decimal" value="120"' in again.text, "the area stands in the sums"
    assert "First choose" in again.press("to_record").press("keep_in_visit").faults[0]
    case = case_of(context, draft_of(again))
    assert (case.species, case.lawn, case.month) == (("soliva_sessilis",), "kikuyu", date.today().month)
