"""The page of learning without a browser: photos and their names, the work beside it, and which model is active."""

from __future__ import annotations

import re
import shutil
import time
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from app.services import open_photos
from app.services.collection import own_collection
from app.services.home import home
from app.web import learning_page as learning
from app.web import learning_work
from app.web.background import Progress, Work
from app.web.context import Context
from app.web.frame import Fault, FormError
from app.web.learning_work import fingerprint
from app.web.message import Message
from app.web.model_words import training_result
from app.web.new_photos import for_the_page as of_the_page
from model.control import Control
from model.errors import CollectionError
from model.identify import Key
from tests.app.page_visitor import context_of
from tests.app.test_collecting import save
from tests.app.test_page_places import address_in, page, press
from tests.training.open_archive import Archive, open_archive, picture

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def context(key: Key, control: Control) -> Context:
    return context_of(key, control)


@pytest.fixture(autouse=True)
def work(monkeypatch: pytest.MonkeyPatch) -> Work:
    """Each test begins with nothing running."""
    fresh = Work()
    monkeypatch.setattr(learning, "work", fresh)
    monkeypatch.setattr(learning_work, "work", fresh)
    return fresh


def chosen(context: Context, *files: Path) -> str:
    """The page after files were chosen."""
    from app.web.side_pages import SidePage

    return SidePage(context, learning).press(Message(do="add_files", files=files))


def ended(work: Work) -> None:
    """Wait until nothing runs any more."""
    until(lambda: not work.state.running)


def until(there: Callable[[], object]) -> None:
    """Wait for something."""
    deadline = time.monotonic() + 60
    while not there():
        assert time.monotonic() < deadline
        time.sleep(0.005)


def zipped(path: Path, *folders: str) -> Path:
    """A zip of folders with one photo each."""
    with zipfile.ZipFile(path, "w") as out:
        for seed, folder in enumerate(folders):
            save(path.parent / "made" / f"{seed}.jpg", seed)
            out.write(path.parent / "made" / f"{seed}.jpg", f"{folder}/{seed}.jpg")
    return path


def test_photos_wait_for_their_name_and_join_the_collection(context: Context, tmp_path: Path) -> None:
    names = ("taraxacum_officinale_flowering_3.jpg", "taraxacum_officinale_leaves_7.jpg")
    files = tuple(Path(shutil.copy(ROOT / "sample_images" / name, tmp_path / name)) for name in names)
    shown = chosen(context, *files)
    assert "What do these 2 photos show?" in shown and not files[0].exists()
    address = address_in(shown)
    assert "Say what the photos show" in press(context, learning, address, "name")
    shown = press(context, learning, address, "name", species="dandelion", by="Sam")
    assert address_in(shown) == {} and "2 photos added: dandelion 2." in shown and "needs" in shown
    assert "no longer here" in press(context, learning, {"pending": "../../x"}, "drop")


@pytest.mark.parametrize("species", ["", "x", "../x", "other:", "nul\0", "y" * 3000])
def test_a_decision_for_a_name_that_was_not_offered_changes_nothing(
    species: str, context: Context, tmp_path: Path
) -> None:
    """An empty one was written down, and from then on neither the page nor any command could read the collection."""
    assert "1 photo added" in chosen(context, zipped(tmp_path / "a.zip", "dandelion"))
    before = [(photo.name, photo.label) for photo in learning.own_collection().photos()]
    shown = press(context, learning, {}, "decide", **{f"on-{before[0][0]}": f"relabel:{species}"})
    assert "is not on file; choose one of the names that are offered" in shown
    assert [(photo.name, photo.label) for photo in learning.own_collection().photos()] == before
    with pytest.raises(CollectionError, match="is not the name of a species"):
        learning.own_collection().relabel(before[0][0], f"{species} ", "Sam")


def test_a_name_that_is_not_on_file_is_asked_about_and_can_be_answered(context: Context, tmp_path: Path) -> None:
    shown = chosen(context, save_one(tmp_path / "a.jpg"))
    shown = press(context, learning, address_in(shown), "name", species="curly dock")
    assert address_in(shown)["as"] == "curly dock" and "1 name is not on file" in shown
    assert "it is curled dock" in shown and "--as" not in shown and "skip-unknown" not in shown
    at, asked = address_in(shown), {"name-0": "curly dock"}
    assert "say which weed it is, or leave its photos out" in press(context, learning, at, "name", **asked)
    shown = press(context, learning, at, "name", **asked, **{"means-0": "rumex_crispus"})
    assert "1 photo added: curled dock 1." in shown


def save_one(path: Path, seed: int = 5) -> Path:
    save(path, seed)
    return path


def test_each_unknown_name_of_a_zip_is_another_weed_a_new_one_or_left_out(context: Context, tmp_path: Path) -> None:
    shown = chosen(context, zipped(tmp_path / "w.zip", "dandelion", "curly dock", "milk thistle", "my weed", "rubbish"))
    assert "4 names are not on file" in shown and "dandelion 1." in shown and "0 photos" not in shown
    names = re.findall(r'name="name-(\d)" value="([^"]+)"', shown)
    means = {"curly dock": "rumex_crispus", "milk thistle": "", "my weed": "new", "rubbish": "leave"}
    fields = {f"name-{n}": name for n, name in names} | {f"means-{n}": means[name] for n, name in names}
    at = address_in(shown)
    assert "milk thistle&#34;: say which weed" in press(context, learning, at, "name", **fields)
    number = next(n for n, name in names if name == "milk thistle")
    bad = press(context, learning, at, "name", **fields, **{f"other-{number}": "no_such_plant"})
    assert "had changed" in bad, "a name that the page did not offer"
    shown = press(context, learning, at, "name", **fields, **{f"other-{number}": "sonchus_oleraceus"})
    assert "4 photos added" in shown and "my weed 1" in shown and address_in(shown) == {}
    assert set(own_collection().own_species()) == {"my_weed"}


def test_bad_photos_are_set_aside_with_the_reason_and_the_others_go_in(context: Context, tmp_path: Path) -> None:
    path = zipped(tmp_path / "w.zip", "dandelion", "capeweed")
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as out:
        out.writestr("dandelion/blank.jpg", b"\xff\xd8\xff" + b"\0" * 3_000_000)
        out.writestr("capeweed/words.jpg", "Dear all")
        out.writestr("loose.jpg", b"x")
    shown = chosen(context, path)
    assert "2 photos added: capeweed 1, dandelion 1." in shown and shown.count('class="notice" role="alert"') == 3
    for words in ("Set aside: dandelion/blank.jpg: is blank", "capeweed/words.jpg", "or add it here by itself"):
        assert words in shown


def test_a_zip_that_cannot_be_read_is_a_fault_without_a_folder_of_the_server(context: Context, tmp_path: Path) -> None:
    (tmp_path / "w.zip").write_bytes(b"PK nothing")
    shown = chosen(context, tmp_path / "w.zip", zipped(tmp_path / "good.zip", "dandelion"))
    assert "w.zip: is not a readable zip" in shown and str(tmp_path) not in shown
    assert 'class="notice" role="alert"' in shown and "1 photo added" in shown, "the other goes in"


def test_messages_of_the_collection_are_in_the_words_of_the_page() -> None:
    why = "is in the collection as rumex_crispus; to change that, run collect relabel 3e3e SPECIES"
    assert of_the_page(why, {"rumex_crispus": "curled dock"}.get) == "is in the collection as curled dock"  # type: ignore[arg-type]
    assert of_the_page(f"{home()}/uploads/x: is bad", str) == "uploads/x: is bad"


def test_learning_says_what_is_missing_and_that_folders_are_named_after_weeds(context: Context) -> None:
    shown = page(context, learning)
    assert "No photos yet" in shown and "each folder named after its weed" in shown
    for do in ("train", "train_full", "check"):
        assert "holds no photos" in press(context, learning, {}, do)
    assert press(context, learning, {}, "undo").count('role="alert"') == 1


def test_a_collection_that_was_learned_from_says_that_training_again_changes_nothing(
    context: Context, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    chosen(context, zipped(tmp_path / "w.zip", "dandelion"))
    photos = own_collection().photos()
    last = {"day": "3 May 2026", "photos": 3, "figures": [], "learned_from": fingerprint(photos)}
    monkeypatch.setattr(learning, "last_figures", lambda: last)
    assert "Nothing has changed since the training of 3 May 2026" in page(context, learning)
    chosen(context, zipped(tmp_path / "x.zip", "dandelion", "capeweed"))
    assert "Nothing has changed" not in page(context, learning)


def test_work_tells_how_far_it_is_and_is_one_at_a_time(work: Work) -> None:
    go = [False]

    def run(tell: Progress) -> str:
        tell("looking", 5, 10)
        until(lambda: go[0])
        return "done"

    work.start("Training", run)
    until(lambda: work.state.done)
    assert work.state.running and work.state.stage == "looking" and work.state.spent >= 0 and work.state.left is None
    work._stage_begun -= 100
    assert work.state.left is not None and 99 < work.state.left < 200
    with pytest.raises(FormError, match="Training is running"):
        work.start("The check", run)
    go[0] = True
    ended(work)
    assert work.state.result == "done" and work.state.left is None
    work.clear()
    assert work.state.result is None


def test_work_that_fails_ends_in_a_sentence(work: Work) -> None:
    work.start("Training", lambda tell: 1 / 0)
    ended(work)
    assert "A fault of the program (ZeroDivisionError)" in work.state.fault


def test_work_is_shown_stopped_and_taken_up_again_where_it_was(context: Context, work: Work) -> None:
    kept: list[int] = []

    def run(tell: Progress) -> dict[str, Any]:
        while len(kept) < 50 or not work.state.stopping:
            tell("tuning the network", len(kept), 1000)
            kept.append(1)
            time.sleep(0.002)
        tell("tuning the network", len(kept), 1000)
        raise AssertionError("it goes on although it was stopped")

    work.start("Full training", run, {"do": "train_full"})
    until(lambda: kept)
    shown = page(context, learning)
    assert "Full training is running" in shown and "Adapting the second network" in shown and 'max="1000"' in shown
    press(context, learning, {}, "stop")
    ended(work)
    shown = page(context, learning)
    assert "Full training was stopped" in shown and "What is done so far is kept" in shown
    assert 'data-do="train_full">Go on</button>' in shown
    press(context, learning, {}, "clear")
    assert "was stopped" not in page(context, learning)


def test_what_was_looked_at_before_a_stop_is_remembered(context: Context, work: Work, tmp_path: Path) -> None:
    from safetensors.numpy import load_file

    from app.services.home import features_file

    chosen(context, zipped(tmp_path / "w.zip", *(f"{weed}/{n}" for weed in ("dandelion", "capeweed") for n in "ab")))

    def look(tell: Progress) -> None:
        from training.data.features import features_of

        def progress(done: int, of: int) -> None:
            if done == 2:
                work.stop()
            tell("features", done, of)

        features_of(own_collection().photos(), features_file(), progress)

    work.start("The check", look)
    ended(work)
    assert work.state.stopped and len(load_file(features_file())) == 2


def test_full_training_says_what_it_needs_where_that_is_not_installed(
    context: Context, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    chosen(context, zipped(tmp_path / "w.zip", "dandelion"))
    monkeypatch.setattr(learning, "needs_torch", lambda: True)
    assert "It needs torch" in page(context, learning)
    assert "Full training needs torch" in press(context, learning, {}, "train_full")


@pytest.fixture
def archive(monkeypatch: pytest.MonkeyPatch) -> Iterator[Archive]:
    monkeypatch.setattr("training.collection.fetch.PAUSE", 0.0)
    with open_archive(monkeypatch) as found:
        found.add_taxon("Taraxacum officinale", "Ta")
        usual = open_photos.plan_open_addition
        here = found.host
        monkeypatch.setattr(
            open_photos, "plan_open_addition", lambda plan, by, folder, more: usual(plan, by, folder, [here])
        )
        yield found


def test_open_photos_are_fetched_beside_the_page(context: Context, work: Work, archive: Archive) -> None:
    for number in range(3):
        archive.add("Ta", picture(number), f"Lee {number}")
    assert "from 1 to 1000" in press(context, learning, {}, "fetch", plant="dandelion", each="many")
    assert "no_such" in press(context, learning, {}, "fetch", plant="no_such", each="3")
    press(context, learning, {}, "fetch", plant="dandelion", each="2")
    ended(work)
    shown = page(context, learning)
    assert "2 photos added: dandelion 2." in shown and work.state.resume["plant"] == "dandelion"
    press(context, learning, {}, "fetch", plant="dandelion", each="2")
    ended(work)
    assert "2 photos already there" in page(context, learning), "nothing is fetched twice"


def test_an_archive_that_cannot_be_reached_is_a_fault_that_can_be_tried_again(
    context: Context, work: Work, archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    from model.errors import CollectionError

    def nobody(*told: object) -> None:
        raise CollectionError("the archive cannot be reached; check the connection")

    monkeypatch.setattr(open_photos, "plan_open_photos", nobody)
    press(context, learning, {}, "fetch", plant="dandelion", each="2")
    ended(work)
    shown = page(context, learning)
    assert "cannot be reached" in shown and 'data-do="fetch">Try again' in shown and 'name="each" value="2"' in shown


def test_training_is_told_before_and_after_in_plain_words() -> None:
    rule = SimpleNamespace(name="species", passed=False, says="gone from the new model: poa_annua")
    verdict = SimpleNamespace(
        decision="promote",
        rules=[rule],
        new_species=[],
        known_species=[SimpleNamespace(species="poa_annua", photos=10, before=0.8, after=0.9)],
    )
    done = SimpleNamespace(
        photos=90,
        left_out={"a.jpg": "blurred"},
        not_yet={"poa_annua": "3 photos"},
        work=SimpleNamespace(measured=SimpleNamespace(photos=20, top1=0.8, top3=0.95)),
        promotion=SimpleNamespace(verdict=verdict, changed=True, new="20261125T184254Z-75bc26a3"),
    )
    called = {"poa_annua": "winter grass"}.get
    told = training_result(done, called)  # type: ignore[arg-type]
    assert told["says"] == "It is better, and is active now." and not told["new"]
    assert told["lines"][2] == "Known before: winter grass, 90% of 10 photos named right, by the previous model 80%."
    assert "80%" in told["lines"][1] and told["left"] == ["a.jpg: blurred"]
    assert told["rules"][0]["says"] == "gone from the new model: winter grass"
    assert told["lines"][-1] == "Not learned yet: winter grass needs 3 photos."
    verdict.decision, done.promotion.changed = "cannot_tell", False
    assert training_result(done, called)["new"] == "20261125T184254Z-75bc26a3"  # type: ignore[arg-type]


def test_a_model_that_was_turned_down_is_activated_on_a_persons_word_alone(
    context: Context, monkeypatch: pytest.MonkeyPatch
) -> None:
    said: list[tuple[str, ...]] = []

    def activate(*told: str) -> SimpleNamespace:
        said.append(told)
        return SimpleNamespace(name=told[0])

    monkeypatch.setattr(learning, "activate", activate)
    name = "20261125T184254Z-75bc26a3"
    assert "Give your name and your reason" in press(context, learning, {}, "activate", model=name, by="Sam")
    shown = press(context, learning, {}, "activate", model=name, by="Sam", because="seen in the field")
    assert "is active now, as you decided" in shown and said == [(name, "Sam", "seen in the field")]


def test_photos_beside_a_waiting_zip_are_not_lost_silently(context: Context, tmp_path: Path) -> None:
    notices = learning.take_files(context, [save_one(tmp_path / "a.jpg"), zipped(tmp_path / "w.zip", "my weed")])[1]
    assert len(notices) == 1 and isinstance(notices[0], Fault) and "w.zip was not taken" in notices[0]
