"""The path from photo to record, without a browser."""

from __future__ import annotations

import io
import shutil
from pathlib import Path

import pytest
from PIL import Image

from app.records import open_records
from app.web.context import Context
from app.web.draft import DraftError, draft_of, new_id
from app.web.draft_photos import photo_evidence
from app.web.effects import effects
from app.web.steps import known
from model.control import Control
from model.identify import Key, Observation
from tests.app.page_visitor import Person, context_of, typical

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "sample_images" / "taraxacum_officinale_flowering_3.jpg"


@pytest.fixture
def context(key: Key, control: Control) -> Context:
    return context_of(key, control)


def upload(person: Person, tmp_path: Path, name: str, data: bytes | None = None) -> Path:
    """A file as gradio lays it down; then taken in."""
    file = tmp_path / "upload" / name
    file.parent.mkdir(exist_ok=True)
    if data is None:
        shutil.copy(SAMPLE, file)
    else:
        file.write_bytes(data)
    person.add_photos(file)
    return file


def with_place(size: tuple[int, int] = (600, 500)) -> bytes:
    """A JPEG whose metadata tell where it was taken, and a serial number."""
    exif = Image.Exif()
    exif.get_ifd(0x8825)[2] = (33.0, 52.0, 4.0)
    exif[0xA431] = "SERIAL-4711"
    picture = Image.open(SAMPLE).resize(size)
    out = io.BytesIO()
    picture.save(out, "JPEG", exif=exif, comment=b"at -33.8677, 151.2070")
    return out.getvalue()


def test_the_whole_path_ends_in_a_signed_visit(context: Context, tmp_path: Path) -> None:
    person = Person(context)
    upload(person, tmp_path, "weed.jpg")
    assert 'alt="weed.jpg"' in person.text
    assert person.press("look", month="11").title == "What it could be"
    assert "this looks most like dandelion" in person.text and "other plants together" not in person.text
    person.press("ask").prove()
    assert person.title == "dandelion" and "Confirmed" in person.text
    assert person.press("onward").title == "This lawn"
    person.press("make_plan", lawn="buffalo", place="lawn", month="11", cover="20", state="NSW", near=["pets"])
    assert person.title == "Dandelion: buffalo lawn, November"
    person.choose_a_spray()
    person.press("weigh", temperature="22", humidity="60", wind="9", hour="11:00", state="NSW", active="MCPA")
    assert "Delta T" in person.text
    person.press("to_record")
    person.press("keep", day="2026-11-25", who="Sam", client="Mara <script>", address="4 Rill Street", state="NSW")
    assert person.title == "The record of the visit"
    assert "<script>" not in person.text and "Mara &lt;script&gt;" in person.text
    person.press("sign_treatment", "1", day="2026-11-25", who="Sam")
    assert "still missing for NSW" in person.notices[0]
    assert person.press("sign_visit", who="Sam").notices == ["The visit is signed."]
    with open_records() as records:
        kept = records.current("visit", 1)
        treatment = records.treatments(visit=1)[0].record
    assert kept.is_signed and len(kept.record.photos) == 1 and kept.record.findings[0].species == "taraxacum_officinale"
    (product,) = treatment.products
    assert (product.actives, product.groups, product.rate) == ("MCPA", (4,), "") and product.name == ""
    assert treatment.weather[0].temperature == 22
    # The address leads to the record, and nothing of it can be changed behind its back.
    again = Person(context, {"plant": person.plant})
    assert again.title == "The record of the visit"
    again.press("go", "questions").press("unsure", "leaf_build")
    assert "already saved as a visit" in again.notices[0]


def test_a_reload_finds_the_place_and_two_people_do_not_mix(context: Context) -> None:
    one, other = Person(context), Person(context)
    one.press("look").see()
    other.press("look").see()
    one.answer()
    assert one.plant != other.plant and one.asked() != other.asked()
    again, third = Person(context, {"plant": one.plant}), Person(context).press("look").see()
    assert (again.title, other.asked()) == (one.title, third.asked())


def test_an_unknown_address_is_a_new_plant_and_says_so(context: Context) -> None:
    person = Person(context, {"plant": new_id()})
    assert person.title == "Photos of one plant" and "No plant is saved" in person.notices[0]
    person = Person(context, {"plant": "../../etc/passwd"})
    assert "No plant is saved" in person.notices[0]


def test_a_photo_is_kept_without_metadata_and_the_upload_is_removed(context: Context, tmp_path: Path) -> None:
    person = Person(context)
    file = upload(person, tmp_path, "at_home.jpg", with_place())
    assert not file.exists()
    kept = list(context.drafts.photos(person.plant).iterdir())
    assert len(kept) == 2
    for path in kept:
        data = path.read_bytes()
        assert b"SERIAL-4711" not in data and b"151.2070" not in data and b"Exif" not in data


def test_what_is_wrong_with_a_photo_is_said(context: Context, tmp_path: Path) -> None:
    person = Person(context)
    flat = io.BytesIO()
    Image.new("RGB", (300, 300), (90, 120, 60)).save(flat, "PNG")
    upload(person, tmp_path, "flat.png", flat.getvalue())
    assert "Nothing can be made out" in person.text and "This photo is not used" in person.text
    upload(person, tmp_path, "words.jpg", b"Dear all")
    assert person.notices[0].startswith("words.jpg: ") and str(tmp_path) not in person.text
    small = io.BytesIO()
    Image.open(SAMPLE).resize((100, 100)).save(small, "PNG")
    upload(person, tmp_path, "small.png", small.getvalue())
    assert "taken from too far" in person.text
    upload(person, tmp_path, "<img src=x onerror=alert(1)>.jpg")
    assert "<img src=x" not in person.text and "&lt;img src=x" in person.text


def test_removing_a_photo_forgets_what_it_said(context: Context, tmp_path: Path) -> None:
    person = Person(context)
    upload(person, tmp_path, "weed.jpg")
    draft = context.drafts.read(person.plant)
    assert draft is not None and draft.evidence is not None
    assert photo_evidence(draft, context.drafts.photos(person.plant)) is not None
    person.press("remove", draft.shots[0].thumb)
    draft = context.drafts.read(person.plant)
    assert draft is not None and draft.shots == () and draft.evidence is None
    assert list(context.drafts.photos(person.plant).iterdir()) == []


def test_back_and_change_are_exact_and_each_answer_says_what_it_did(context: Context) -> None:
    person = Person(context).press("look").see()
    first = person.asked()
    before = person.text
    person.press("answer", first, state=[next(iter(context.key.flora.characters[first].states))])
    assert any(words in person.text for words in ("rose from", "fell from", "little difference", "narrowed the list"))
    assert person.press("change", first).asked() == first and "Change an answer" in person.text
    assert "your answer" in person.text
    person.press("back").press("back")
    stands = [page.split('aria-label="So far"')[1] for page in (person.text, before)]
    assert person.asked() == first and stands[0] == stands[1]


def test_what_an_answer_did_is_the_change_of_the_chances(context: Context) -> None:
    person = Person(context).press("look").see()
    draft = context.drafts.read(person.plant)
    assert draft is not None
    interview = context.interview(draft)
    for character in ("flower_stalk", "flower_build", "milky_sap", "stalk_hollow"):
        interview = interview.answer(character, typical(context.key)[character])
    at = (None, interview.month, interview.region, interview.visible)
    answers = list(interview.answers.items())
    rows = [*(context.name(s) for s in context.key.flora.ids), "a plant not on file"]
    moves = [(place, move) for place, one in enumerate(effects(context, interview)[::-1]) for move in one["moves"]]
    assert {move.up for _, move in moves} == {True, False}
    for place, move in moves:
        before, after = (
            float(context.key.posterior(Observation(dict(answers[:count]), *at))[rows.index(move.name)])
            for count in (place, place + 1)
        )
        assert (move.before, move.after) == (pytest.approx(before), pytest.approx(after))


def test_unsure_changes_nothing_but_the_question(context: Context) -> None:
    person = Person(context).press("look").see()
    first = person.asked()
    person.press("unsure", first)
    assert person.asked() != first and "it changed nothing" in person.text


@pytest.mark.parametrize(
    "fields", [{"state": ["no_such_state"]}, {"state": []}, {"state": "x" * 5000}, {"reading": "-3"}, {}]
)
def test_a_bad_answer_is_one_sentence_and_loses_nothing(context: Context, fields: dict[str, str]) -> None:
    person = Person(context).press("look").see()
    first = person.asked()
    person.press("answer", first, **fields)
    assert len(person.notices) == 1 and person.asked() == first
    draft = context.drafts.read(person.plant)
    assert draft is not None and draft.answers == {}


def test_a_button_that_is_not_there_does_nothing(context: Context) -> None:
    person = Person(context)
    for do, which in (("make_plan", ""), ("go", "record"), ("__class__", ""), ("sign_visit", "")):
        assert len(person.press(do, which).notices) == 1
        assert person.title == "Photos of one plant"
    assert "out of date" in person.send(plant="no id", do="look").notices[0]
    person.send(plant=person.plant, do="look", fields={"month": [{"a": 1}]})
    assert "is not text" in person.notices[0].lower()


def test_a_plant_outside_the_list_gets_no_plan(context: Context) -> None:
    person = Person(context).press("look")
    odd = {"leaf_build": ["grassy"], "milky_sap": ["present"], "flower_build": ["pea"], "leaf_edge": ["prickly"]}
    odd |= {"underground": ["tuber_chain"], "seed_structure": ["berry"], "crushed_smell": ["onion"]}
    for character, states in odd.items():
        person.press("answer", character, state=states)
    draft = context.drafts.read(person.plant)
    assert draft is not None and context.finding(draft).status == "unlisted"
    person.press("conclude")
    assert "herbarium" in person.text and "onward" not in person.text
    assert "no plan" in person.press("onward").notices[0]


def test_an_override_is_explained(context: Context, tmp_path: Path) -> None:
    person = Person(context)
    upload(person, tmp_path, "weed.jpg")
    draft = context.drafts.read(person.plant)
    assert draft is not None and draft.evidence is not None
    # As if the photos had said clover, and then a dandelion is described.
    chances = dict.fromkeys(draft.evidence["probabilities"], 0.001) | {"trifolium_repens": 0.95}
    context.drafts.save(draft_of(draft.as_json() | {"evidence": {**draft.evidence, "probabilities": chances}}))
    person.press("look").press("ask").prove()
    assert "The photo looked like" in person.text and "would have shown" in person.text


def test_a_draft_of_another_version_is_refused_in_a_sentence() -> None:
    with pytest.raises(DraftError, match="start again"):
        draft_of({"id": new_id(), "shots": [{"no": "name"}]})
    assert known(draft_of({"id": new_id(), "step": "dance", "later": 1})).step == "photos"
