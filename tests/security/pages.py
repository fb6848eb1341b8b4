"""Everything that may be tried at the pages from outside, against the real server.

``python -m tests.security.pages [ROUNDS]`` prints what was tried and whether it held; ends with status 1 where not.
"""

from __future__ import annotations

import base64
import os
import re
import socket
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from model.flora.character import PARTS
from tests.security import page_attacks
from tests.security.page_attacks import CANARY, HELD
from tests.security.visitor import DANDELION, PHOTO, Server, Visitor, ask, served

PASSWORD = "dandelion-clock-77"
CUT = "import sys, pathlib; from tests.security.cut_off import cut_off; cut_off(pathlib.Path({!r})); {}"
START = "from app.command_line import main; main()"
OPEN = "import sys; from app.web.serving import serve_page; serve_page(int(sys.argv[-1]), False, {!r})"
KINDS: dict[str, Callable[[Server, str], HELD]] = {
    "files by any path": page_attacks.paths,
    "unused parts of gradio": page_attacks.unused,
    "names of other machines": page_attacks.hosts,
    "other sites": page_attacks.other_sites,
    "hostile JSON": page_attacks.messages,
    "buttons that are none": page_attacks.buttons,
    "uploads": page_attacks.uploads,
    "sessions apart": page_attacks.sessions,
    "headers": page_attacks.headers,
    "a flood": page_attacks.flood,
}


def walk_path(server: Server) -> HELD:
    """The whole path with its papers and places; each step must come."""
    tab, wrong = Visitor(server), []
    tab.send_files(PHOTO).press("look", month="11").press("ask").press("see", visible=PARTS)
    for _ in range(25):
        asked = re.search(r'data-do="unsure" data-with="(\w+)"', tab.text)
        if asked is None:
            break
        seen = DANDELION.get(asked[1])
        tab.press("answer", asked[1], state=seen) if seen else tab.press("unsure", asked[1])
    tab.press("conclude").press("onward")
    tab.press("make_plan", lawn="buffalo", place="lawn", month="11", state="NSW")
    choice = re.search(r'name="choice"[^>]* value="((?:selective|pre_emergent)[^"]+)"', tab.text)
    tab.press("choose", choice=choice[1] if choice else "")
    tab.press("weigh", temperature="22", humidity="60", wind="9", hour="11:00", state="NSW")
    tab.press("sum", "tank", tank="10", output="400", rate="3 L/ha").press("to_record")
    tab.press("keep", day="2026-11-25", who="Sam", client="Walk", address="1 Rill Street", state="NSW")
    tab.press("sign_visit", who="Sam")
    if "The visit is signed." not in tab.text:
        wrong.append(f"the path ended at {tab.title}: {tab.notices}")
    papers = ("/paper/visit/1/advice", "/paper/visit/1/job", "/paper/all/findings.csv", "/paper/all/follow-ups.ics")
    for address in (*papers, "/paper/key?month=6", "/drawn/soliva_sessilis.jpg"):
        if tab.fetch(address).status != 200:
            wrong.append(f"{address}: {tab.fetch(address).text[:100]}")
    for page in page_attacks.TO_PAGES:
        Visitor(server, page)
    Visitor(server, "/training").send_files(PHOTO)
    return 30, wrong


def nothing_leaves(work: Path) -> HELD:
    """The whole path in a server that is cut off from all other machines."""
    notes = work / "tried.txt"
    with served(work / "cut", CUT.format(str(notes), START), HF_HUB_OFFLINE="0") as server:
        tried, wrong = walk_path(server)
        wrong += [f"connected to {far}" for far in connected(server.process.pid)]
    wrong += notes.read_text(encoding="utf-8").splitlines() if notes.exists() else []
    return tried, wrong


def connected(process: int) -> list[str]:
    """Other machines that a process is connected to, as Linux tells; nothing elsewhere."""
    found = []
    try:
        ends = {str(file.readlink()) for file in Path(f"/proc/{process}/fd").iterdir()}
        for table in ("tcp", "tcp6", "udp", "udp6"):
            for row in Path(f"/proc/{process}/net/{table}").read_text(encoding="ascii").splitlines()[1:]:
                parts = row.split()
                far, state = parts[2].split(":")[0], parts[3]
                here = (
                    set(far) == {"0"}
                    or far in ("0100007F", "00000000000000000000000001000000")
                    or far.endswith("0100007F")
                )
                if f"socket:[{parts[9]}]" in ends and not here and state != "0A":
                    found.append(row)
    except OSError:
        return []
    return found


def loopback_only(server: Server) -> HELD:
    """Not to be reached by any other address of this machine."""
    found = {str(told[4][0]) for told in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)}
    wrong = []
    for address in sorted(found - {"127.0.0.1"} - {a for a in found if a.startswith("127.")}):
        try:
            socket.create_connection((address, server.port), timeout=5).close()
            wrong.append(f"served at {address}")
        except OSError:
            continue
    return len(found), wrong


def password(work: Path) -> HELD:
    """Opened to the network: nothing without the password, and who guesses is shut out."""
    wrong, tried = [], 0

    def basic(word: str) -> str:
        return "Basic " + base64.b64encode(f"any:{word}".encode()).decode()

    with served(work / "open", OPEN.format(PASSWORD)) as server:
        port = server.port
        for path in (
            *page_attacks.TO_PAGES,
            "/theme.css",
            "/paper/all/findings.csv",
            "/drawn/soliva_sessilis.jpg",
            "/x",
        ):
            for given in ({}, {"Authorization": "Basic !!"}, {"Authorization": "Bearer x"}, {"Authorization": "Basic"}):
                tried += 1
                if ask(port, "GET", path, **given).status not in (401, 404):
                    wrong.append(f"{path} with {given}")
        if ask(port, "POST", "/gradio_api/upload", b"x").status != 401:
            wrong.append("an upload without the password")
        if ask(port, "GET", "/", Authorization=basic(PASSWORD)).status != 200:
            wrong.append("the password does not let in")
        if ask(port, "GET", "/", Authorization=basic(PASSWORD), Host="evil.example").status != 400:
            wrong.append("another host")
        said = [ask(port, "GET", "/", Authorization=basic(f"guess {n}")).status for n in range(12)]
        if said[-1] != 429 or ask(port, "GET", "/", Authorization=basic(PASSWORD)).status != 429:
            wrong.append(f"guesses: {said}")
        tried += 16
        if PASSWORD.encode() in (server.home / "serve.log").read_bytes():
            wrong.append("the password is in the log")
    return tried, wrong


def texts(work: Path, rounds: int) -> HELD:
    """Hostile texts in every field, in this process."""
    from app.web.context import open_context
    from tests.security.page_texts import write_everywhere

    os.environ["SWARDKEY_HOME"] = str(work / "texts")
    (work / "files").mkdir(parents=True)
    tried = write_everywhere(open_context(), work / "files", rounds)
    shown = [] if tried.seen > 10 * rounds else ["the texts are not on the pages"]
    return sum(tried.fields.values()), tried.wrong + shown


def try_all(work: Path, rounds: int) -> dict[str, HELD]:
    """Every kind, against servers of their own."""
    home = work / "home"
    for name in ("canary.txt", "records/canary.txt", "models/canary.txt", "uploads/../canary.txt"):
        (home / name).parent.mkdir(parents=True, exist_ok=True)
        (home / name).write_bytes(CANARY)
    found: dict[str, HELD] = {"texts as text": texts(work, rounds)}
    with served(home) as server:
        plant = Visitor(server).send_files(PHOTO).press("look", month="11").plant
        found["loopback only"] = loopback_only(server)
        for kind, tries in KINDS.items():
            found[kind] = tries(server, plant)
        faults = [file.name for file in (home / "faults").glob("*")]
        log = (home / "serve.log").read_text(encoding="utf-8")
        found["log and faults"] = 2, faults + (["a traceback in the log"] if "Traceback" in log else [])
    found["opened to the network"] = password(work)
    found["nothing leaves"] = nothing_leaves(work)
    return found


def main() -> None:
    """The table."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as name:
        found = try_all(Path(name), rounds)
    print(f"{'kind':26} {'tried':>7}  held")
    for kind, (tried, wrong) in found.items():
        print(f"{kind:26} {tried:7}  {'yes' if not wrong else f'NO, {len(wrong)}: {wrong[:4]}'}")
    print(f"{'all':26} {sum(tried for tried, _ in found.values()):7}")
    raise SystemExit(any(wrong for _, wrong in found.values()))


if __name__ == "__main__":
    main()
