"""The short form of ``python -m tests.security.pages`` and ``tests.benchmarks.load``, on one server that is cut off."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from gradio_client import Client, handle_file
from gradio_client.exceptions import AppError

from app.present.deciding import finding_json
from app.services.knowledge import load_advice
from model.control import Case, plan
from model.identify import Key
from model.interview import Interview
from model.prior import region_named
from model.traits import check_answers
from tests.benchmarks.load import Person, Tally, check_kept
from tests.claims.observer import SimulatedObserver
from tests.security import page_attacks
from tests.security.page_attacks import CANARY
from tests.security.page_texts import Reader, hostile, write_everywhere
from tests.security.pages import CUT, KINDS, START, connected, loopback_only, open_all
from tests.security.visitor import PHOTO, ROOT, Server, Visitor, ask, served

SHORT = {
    "names of other machines",
    "unused parts of gradio",
    "other sites",
    "buttons that are none",
    "uploads",
    "headers",
}


@pytest.fixture(scope="module")
def notes(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("cut") / "tried.txt"


@pytest.fixture(scope="module")
def server(notes: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """`swardkey serve`, with every way to other machines closed."""
    home = tmp_path_factory.mktemp("served")
    (home / "canary.txt").write_bytes(CANARY)
    with served(home, CUT.format(str(notes), START), HF_HUB_OFFLINE="0") as found:
        yield found


@pytest.fixture(scope="module")
def tally(server: Server, key: Key) -> Tally:
    """What two people met with who walked the whole path at once."""
    found = Tally()
    people = [Person(server, number, found, SimulatedObserver(key), 0.0) for number in (1, 3)]
    threads = [threading.Thread(target=person.walk) for person in people]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return found


def test_several_people_at_once_lose_nothing_and_do_not_mix(
    server: Server, tally: Tally, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert (tally.wrong, tally.mixed, len(tally.told)) == ([], [], 2)
    monkeypatch.setenv("SWARDKEY_HOME", str(server.home))
    assert check_kept(tally, server.home) == []


def test_the_whole_path_needs_no_other_machine(server: Server, tally: Tally, notes: Path) -> None:
    assert open_all(server, tally.told[0].visit).wrong == []
    assert connected(server.process.pid) == []
    assert not notes.exists(), notes.read_text(encoding="utf-8")


@pytest.mark.parametrize("kind", sorted(SHORT))
def test_what_is_tried_from_outside_is_refused(server: Server, kind: str) -> None:
    tried = KINDS[kind](server, "a" * 22)
    assert tried.count and tried.wrong == []


def test_hostile_messages_addresses_and_guesses_are_refused(server: Server, monkeypatch: pytest.MonkeyPatch) -> None:
    assert loopback_only(server).wrong == []
    assert page_attacks.messages(server, "", 60).wrong == []
    assert page_attacks.sessions(server, "", 300).wrong == []
    monkeypatch.setattr(page_attacks, "UP", page_attacks.UP[::6])
    tried = page_attacks.paths(server, "a" * 22)
    assert tried.count > 1000 and tried.wrong == []
    assert "Traceback" not in (server.home / "serve.log").read_text(encoding="utf-8")
    assert not list((server.home / "faults").glob("*"))


def test_other_programs_call_the_api_and_get_the_json_of_the_commands(server: Server, key: Key) -> None:
    client = Client(f"http://{server.name}", verbose=False)
    found = client.predict([handle_file(PHOTO)], {"milky_sap": "present"}, 11, api_name="/identify")
    assert found["candidates"][0]["species"] == "taraxacum_officinale" and found["photos"][0]["file"] == PHOTO.name
    kept = [file for file in (server.home / "uploads").rglob(PHOTO.name) if "waiting" not in file.parts]
    assert kept == [], "the original of a photo is not kept"
    answers = check_answers(key.flora.characters, {"milky_sap": "present"})
    region = region_named(key.prior_config, None)
    alone = finding_json(Interview(key, None, 11, region, answers).finding, key, answers)
    assert client.predict([], {"milky_sap": "present"}, 11, api_name="/identify") == json.loads(json.dumps(alone))
    advice = client.predict(["dandelion"], 11, "buffalo", state="NSW", near=["pets"], api_name="/advise")
    made = plan(load_advice(), Case(("taraxacum_officinale",), 11, "buffalo", state="NSW", near=("pets",)))
    assert advice == json.loads(json.dumps(made.as_json(load_advice())))
    both = client.predict(["dandelion", "bindii"], 11, "couch", together=True, api_name="/advise")
    case = Case(("taraxacum_officinale", "soliva_sessilis"), 11, "couch", together=True)
    assert both == json.loads(json.dumps(plan(load_advice(), case).as_json(load_advice())))
    assert both != client.predict(["dandelion", "bindii"], 11, "couch", api_name="/advise"), "a shortlist is not all"
    with pytest.raises(AppError, match="two weeds or more"):
        client.predict(["dandelion"], 11, together=True, api_name="/advise")
    for bad, why in (
        (("dandelion", 11), "must be a list"),
        ((["dandelion"], 13), "month 13"),
        ((["no weed"], 1), "no weed"),
    ):
        with pytest.raises(AppError, match=why):
            client.predict(*bad, api_name="/advise")
    outside = [{"path": "/etc/passwd", "meta": {"_type": "gradio.FileData"}}]
    body = {"data": [outside, {}, None], "fn_index": 0, "session_hash": "abc"}
    came = ask(server.port, "POST", page_attacks.CALL, json.dumps(body).encode(), Content_Type="application/json")
    assert came.status == 400


def test_the_same_photo_of_two_people_at_once_is_each_ones_own(server: Server) -> None:
    one, other = Visitor(server), Visitor(server)
    threads = [threading.Thread(target=tab.send_files, args=(PHOTO,)) for tab in (one, other)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert PHOTO.name in one.text and PHOTO.name in other.text and one.faults == other.faults == []


def test_no_text_of_the_user_becomes_a_tag(tmp_path: Path) -> None:
    from app.web.context import open_context

    tried = write_everywhere(open_context(), tmp_path / "files", 1)
    assert tried.wrong == [] and sum(tried.fields.values()) > 500 and tried.seen > 10


def test_the_reader_finds_what_is_not_escaped() -> None:
    """Or else it would prove nothing."""
    import random

    chance = random.Random(1)
    found = sum(bool(Reader(f'<p title="{text}">{text}</p>').wrong) for text in (hostile(chance) for _ in range(200)))
    assert found > 120
    assert Reader('<a href=" java\tscript:x">').wrong and not Reader("<p>&lt;swkx onswkx=1&gt;</p>").wrong


def test_the_cut_is_noticed(tmp_path: Path) -> None:
    notes = tmp_path / "notes.txt"
    tries = "import socket; socket.create_connection(('192.0.2.1', 80), 1)"
    done = subprocess.run(
        [sys.executable, "-c", CUT.format(str(notes), tries)], cwd=ROOT, capture_output=True, check=False
    )
    assert done.returncode and "192.0.2.1" in notes.read_text(encoding="utf-8")


COLD = """
import shutil, sys, threading
from pathlib import Path
from app.web.page import Pages
from app.web.context import open_context
from app.web.draft import new_id
from app.web.message import Message
from app.web.warm_up import warm_up
sys.setswitchinterval(0.0005)
context = open_context()
context.ready.clear()
pages = Pages(context)
said = []
def one(number):
    file = Path(sys.argv[1]) / f"{number}.jpg"
    shutil.copy(sys.argv[2], file)
    shown = pages.press(Message(plant=new_id(), do="add_photos", files=(file,)))
    said.append('class="notice"' in shown)
threads = [threading.Thread(target=warm_up, args=(context,))]
threads += [threading.Thread(target=one, args=(number,)) for number in range(2)]
for thread in threads: thread.start()
for thread in threads: thread.join()
sys.setswitchinterval(0.005)
before = set(sys.modules)
from tests.app.page_visitor import Person
person = Person(context)
person.press("look").prove()
person.press("onward").press("make_plan", lawn="buffalo", place="lawn", month="11", state="NSW").choose_a_spray()
person.press("weigh", temperature="22", humidity="60", wind="9", hour="11:00", state="NSW")
person.press("sum", "tank", **{"tank": "10", "output": "400", "rate": "3 L/ha"})
ours = ("app.", "model.", "training.", "scipy.", "sklearn.", "cv2", "pint.", "reportlab.", "onnx")
print(said, sorted(name for name in set(sys.modules) - before if name.startswith(ours)))
"""


def test_photos_that_come_while_the_libraries_do_are_not_lost(tmp_path: Path) -> None:
    """Two threads that import what imports each other end in a fault: this was so on a cold machine."""
    command = [sys.executable, "-c", COLD, str(tmp_path), str(PHOTO)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.stdout.splitlines()[-1:] == ["[False, False] []"], done.stdout + done.stderr
