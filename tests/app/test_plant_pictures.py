"""What stands for a plant: one's own photo, then an open one with its credit, then line drawings; nothing computed."""

from __future__ import annotations

import hashlib
import io
import xml.etree.ElementTree as ElementTree
from datetime import date
from pathlib import Path

import pytest
from fontTools.pens.boundsPen import ControlBoundsPen
from fontTools.pens.recordingPen import RecordingPen
from fontTools.svgLib.path import parse_path
from PIL import Image
from pypdf import PdfReader
from reportlab.pdfgen.canvas import Canvas

from app.figures.line_drawings import SVG, files, read_drawing
from app.figures.telling import MOST, telling
from app.papers.advice_sheet import AdviceSheet, advice_paper
from app.papers.plant_figure import NOT_THE_PLANT, LineDrawing, SheetPhoto
from app.present.naming import Naming
from app.records import Client, KeptFinding, KeptPhoto, Site, Visit, open_records
from app.services.home import home
from app.services.paper_making import advice_of_visit
from app.services.plant_photos import OF_THIS, paper_photo, photo_of, shown_file
from app.web import flora_page as flora
from app.web.context import Context
from app.web.lawn_page import grasses
from app.web.plant_pictures import OF_THIS as YOURS
from app.web.side_pages import SidePage
from model.control import Case, Control, plan
from model.identify import Key
from model.photo.stored import stored_jpeg
from tests.app.page_visitor import Person, context_of
from tests.training.open_archive import picture
from training.collection import Collection
from training.collection.adding import Row
from training.collection.store import name_of

APP = Path(__file__).resolve().parents[2] / "app"
PAGE = "https://photos.example/1"
BINDII, CLOVER = "soliva_sessilis", "trifolium_repens"


@pytest.fixture
def context(key: Key, control: Control) -> Context:
    return context_of(key, control)


def collect(
    seed: int, species: str = BINDII, licence: str = "CC BY 4.0", creator: str = "Lee <b>", page: str = PAGE
) -> str:
    """A photo in the collection, by its name there."""
    file = home() / f"{seed}.jpg"
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_bytes(picture(seed))
    data = stored_jpeg(file)
    digest = hashlib.sha256(data).hexdigest()
    row = Row(name_of(digest), species, "g", page, creator, licence, "Kim", "2026-01-01", "add", "")
    Collection(home() / "collection").open().put(data, row, digest)
    return row.photo


def species_page(context: Context, species: str = BINDII) -> str:
    return SidePage(context, flora).open({"species": species})


def test_the_most_telling_drawings_come_first_and_every_plant_has_one(key: Key) -> None:
    for species in key.flora.ids:
        sketches = telling(key, species)
        assert 1 <= len(sketches) <= MOST and len(set(sketches)) == len(sketches), species
        assert all(sketch.drawing.svg and sketch.text for sketch in sketches)
    assert (telling(key, BINDII)[0].character, telling(key, BINDII)[0].state) == ("seed_structure", "winged_spine_seed")
    assert telling(key, "no_such_plant") == ()


def test_no_drawing_of_a_plant_is_cut_off_at_its_top_or_bottom(key: Key) -> None:
    cut = set()
    for sketch in {sketch for species in key.flora.ids for sketch in telling(key, species)}:
        for path in ElementTree.fromstring(sketch.drawing.svg).iter(f"{SVG}path"):
            pen = RecordingPen()
            if path.get("fill", "none") != "none":  # stems are lines, and may run out of the square
                parse_path(path.get("d", ""), pen)
            heights = [points[-1][1] for _, points in pen.value if points]
            cut |= {(sketch.character, sketch.state) for height in heights if not -5 <= height <= 1050}
    assert not cut


def test_without_a_photo_there_are_line_drawings_and_no_credit(context: Context) -> None:
    text = species_page(context)
    assert "/figure/seed_structure/winged_spine_seed.svg" in text and "none shows the whole plant" in text
    assert "/collected/" not in text and 'class="credit"' not in text
    assert "/figure/" in SidePage(context, flora).open({"q": "bindii"})


def test_an_open_photo_comes_with_creator_licence_and_link(context: Context) -> None:
    name = collect(1)
    text = species_page(context)
    assert (
        f'src="/collected/{name}"' in text
        and "Photo: Lee &lt;b&gt;, CC BY 4.0</a>" in text
        and f'href="{PAGE}"' in text
    )
    assert "none shows the whole plant" not in text
    listed = SidePage(context, flora).open({"q": "bindii"})
    assert f"/collected/{name}" in listed and "Lee &lt;b&gt;, CC BY 4.0" in listed and f'href="{PAGE}"' not in listed


def test_an_own_photo_comes_before_an_open_one_but_is_not_passed_on() -> None:
    free, own = collect(1), collect(2, licence="", creator="", page="")
    first, handed_on = photo_of(BINDII), photo_of(BINDII, passed_on=True)
    assert first is not None and first.name == own and first.credit == "from your collection"
    assert handed_on is not None and handed_on.name == free
    assert shown_file(own) is not None and shown_file("../../records.sqlite") is None


def test_photos_that_are_not_open_or_were_removed_or_lead_elsewhere_are_left_out() -> None:
    collect(3, CLOVER, licence="CC BY-NC 4.0")
    assert photo_of(CLOVER) is None
    name = collect(4, CLOVER, page="javascript:alert(1)")
    found = photo_of(CLOVER)
    assert found is not None and found.page == ""
    Collection(home() / "collection").open().remove(name, "Kim")
    assert photo_of(CLOVER) is None


def test_a_broken_collection_leaves_drawings(context: Context) -> None:
    collect(1)
    with (home() / "collection" / "manifest.csv").open("a") as file:
        file.write("nonsense,,,,,,,,,\n")
    assert "/figure/" in species_page(context)


def test_the_finding_shows_the_visitors_own_photo(context: Context, tmp_path: Path) -> None:
    collect(1, "taraxacum_officinale")
    file = tmp_path / "a.jpg"
    file.write_bytes(picture(9))
    person = Person(context).add_photos(file).press("look", month="10").press("ask")
    verdict = person.prove().text.split("</section>")[0]
    assert YOURS in verdict and f"/photo/{person.plant}/" in verdict and "/collected/" not in verdict


def test_pages_and_papers_know_no_computed_pictures() -> None:
    for file in [*(APP / "web").glob("*.py"), *(APP / "papers").glob("*.py")]:
        text = file.read_text(encoding="utf-8")
        assert "training.drawn" not in text and "services.drawing" not in text, file


# On paper


def paper(key: Key, control: Control, photo: SheetPhoto | None, *species: str) -> PdfReader:
    made = plan(control, Case(species, 10, "couch"))
    return PdfReader(io.BytesIO(advice_paper(AdviceSheet(Naming(species[0]), made, photo=photo), key, control)))


def words(found: PdfReader) -> str:
    return " ".join(found.pages[0].extract_text().split())


def test_a_sheet_has_a_photo_with_its_credit_or_says_that_drawings_are_not_the_plant(
    key: Key, control: Control
) -> None:
    bare = paper(key, control, None, BINDII)
    assert NOT_THE_PLANT in words(bare) and not bare.pages[0].images
    assert paper_photo((), (BINDII,), key.flora) is None
    collect(1)
    assert paper_photo((), (BINDII, CLOVER), key.flora) is None, "it could be either"
    photo = paper_photo((home() / "no.jpg",), (BINDII,), key.flora)
    assert photo is not None
    shown = paper(key, control, photo, BINDII)
    assert "Another plant of bindii, photographed by Lee <b>, CC BY 4.0." in words(shown) and PAGE in words(shown)
    assert NOT_THE_PLANT not in words(shown) and len(shown.pages[0].images) == 1
    assert NOT_THE_PLANT in words(paper(key, control, None, "hypochaeris_radicata", "taraxacum_officinale"))


def test_the_photo_of_a_visit_comes_first_and_carries_no_metadata(key: Key, control: Control, tmp_path: Path) -> None:
    collect(1)
    file = tmp_path / "a.jpg"
    file.write_bytes(picture(5))
    photo = paper_photo((file,), (BINDII, CLOVER), key.flora)
    assert photo is not None and photo.caption == OF_THIS
    with Image.open(io.BytesIO(photo.data)) as image:
        assert not image.getexif() and max(image.size) <= 720
    with open_records() as book:
        client = book.add_client(Client(name="Mara"))
        site = book.add_site(Site(client=client.id, address="4 Rill Street", state="NSW"))
        visit = book.add_visit(Visit(site=site.id, day=date(2026, 6, 2), who="Sam")).id
        book.add_finding(KeptFinding(visit=visit, species=BINDII, status="likely", finding={}))
        book.add_photo(KeptPhoto(visit=visit, sha256=book.store_photo(file)))
    kept = PdfReader(io.BytesIO(advice_of_visit(visit, key=key)))
    assert OF_THIS in words(kept) and len(kept.pages[0].images) == 1


def test_every_drawing_can_be_laid_on_paper() -> None:
    page = Canvas(io.BytesIO(), pageCompression=0)
    for path in files().values():
        drawing = read_drawing(path).svg
        LineDrawing(drawing, 30).drawOn(page, 0, 0)
        for data in drawing.split(' d="')[1:]:
            pen = ControlBoundsPen(None)
            parse_path(data.split('"')[0], pen)
            assert all(-1000 <= number <= 2000 for number in pen.bounds), path
    page = Canvas(io.BytesIO(), pageCompression=0)
    curve = '<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0q3 3 6 0V9z"/></svg>'
    LineDrawing(curve, 1000).drawOn(page, 0, 0)
    assert b"0 0 m 2 2 4 2 6 0 c 6 9 l 0 0 l h" in page.getpdfdata()


def test_lawn_grasses_are_told_from_one_another_by_what_a_mown_lawn_shows(key: Key, control: Control) -> None:
    found = {grass["name"]: grass["sketches"] for grass in grasses(context_of(key, control))}
    assert set(found) == {lawn.name for lawn in control.lawns.values() if lawn.species}
    for name, sketches in found.items():
        assert len(sketches) == 3, name
        assert all(key.flora.characters[one.character].part in ("leaves", "roots") for one in sketches), name
    assert ("runners", "above") in {(one.character, one.state) for one in found["buffalo"]}
    assert len({tuple((one.character, one.state) for one in sketches) for sketches in found.values()}) == len(found)
