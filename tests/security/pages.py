"""Everything that may be tried at the pages from outside, against the real server.

``python -m tests.security.pages [ROUNDS]`` prints what was tried and whether it held; ends with status 1 where not.
"""

from __future__ import annotations

import base64
import itertools
import os
import socket
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from app.web.network import addresses_of_this_machine
from model.identify import Key
from tests.benchmarks.load import Person, Tally
from tests.claims.observer import SimulatedObserver
from tests.security import page_attacks
from tests.security.page_attacks import CANARY, Tried
from tests.security.shut_in import can_shut_in, sent
from tests.security.visitor import PHOTO, Server, Visitor, ask, served

PASSWORD = "dandelion-clock-77"
REPORTS_LATE = 30.0  # seconds: a library that reports collects first, and sends some time after
CUT = "import sys, pathlib; from tests.security.cut_off import cut_off; cut_off(pathlib.Path({!r})); {}"
START = "from app.command_line import main; main()"
WALK = "import sys, pathlib; from tests.security.pages import walk_served; walk_served(pathlib.Path(sys.argv[1]))"
OPEN = "import sys; from app.web.serving import serve_page; serve_page(int(sys.argv[-1]), False, {!r})"
KINDS: dict[str, Callable[[Server, str], Tried]] = {
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


def walk_path(server: Server) -> Tried:
    """The whole path with its papers and places; each step must come."""
    tally = Tally()
    Person(server, 1, tally, SimulatedObserver(Key()), 0.0).walk()
    return open_all(server, tally.told[0].visit)


def open_all(server: Server, visit: int) -> Tried:
    """The papers of a visit and of all records, and every place."""
    tab, tried = Visitor(server), Tried()
    papers = (f"/paper/visit/{visit}/advice", f"/paper/visit/{visit}/job", "/paper/all/findings.csv")
    for address in (*papers, "/paper/all/follow-ups.ics", "/paper/key?month=6", "/figure/leaf_build/grassy.svg"):
        came = tab.fetch(address)
        tried.expect(came.status == 200, f"{address}: {came.text[:100]}")
    for page in page_attacks.TO_PAGES:
        tried.expect("<h1" in Visitor(server, page).text, page)
    tried.expect(
        "What does this photo show?" in Visitor(server, "/training").send_files(PHOTO).text,
        "a photo for the collection",
    )
    return tried


def nothing_leaves(work: Path) -> Tried:
    """The whole path in a server that is cut off from all other machines, and once more where the kernel counts."""
    notes = work / "tried.txt"
    with served(work / "cut", CUT.format(str(notes), START), HF_HUB_OFFLINE="0") as server:
        tried = walk_path(server)
        tried.wrong += [f"connected to {far}" for far in connected(server.process.pid)]
    tried.wrong += notes.read_text(encoding="utf-8").splitlines() if notes.exists() else []
    if can_shut_in():  # the first of these sees what Python sends, this one what native code does
        count = sent([sys.executable, "-c", WALK, str(work / "shut in")])
        tried.expect(not count, f"sent by native code: {count}")
    return tried


def walk_served(home: Path) -> None:
    """The whole path, in a server of its own that then stays open a while. Raises AssertionError where a step fails."""
    with served(home, HF_HUB_OFFLINE="0") as server:
        wrong = walk_path(server).wrong
        time.sleep(REPORTS_LATE)
    assert not wrong, wrong


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


def loopback_only(server: Server) -> Tried:
    """Not to be reached by any other address of this machine."""
    tried = Tried()
    for address in addresses_of_this_machine():
        if socket.gethostbyname(address).startswith("127."):  # all that it has
            continue
        try:
            socket.create_connection((address, server.port), timeout=5).close()
        except OSError:
            continue
        tried.expect(False, f"served at {address}")
    return tried


def password(work: Path) -> Tried:
    """Opened to the network: nothing without the password, and who guesses is shut out."""
    tried = Tried()

    def basic(word: str) -> str:
        return "Basic " + base64.b64encode(f"any:{word}".encode()).decode()

    with served(work / "open", OPEN.format(PASSWORD)) as server:
        port = server.port
        asked = (*page_attacks.TO_PAGES, "/theme.css", "/paper/all/findings.csv", "/figure/leaf_build/grassy.svg", "/x")
        asked += ("/gradio_api/startup-events",)
        for path, given in itertools.product(asked, ("", "Basic !!", "Bearer x", "Basic")):
            came = ask(port, "GET", path, **({"Authorization": given} if given else {}))
            tried.expect(came.status == 401, f"{path} with {given}")
        came = page_attacks.post(server, page_attacks.UPLOAD, b"x")
        tried.expect(came.status == 401, "an upload without the password")
        right = basic(PASSWORD)
        tried.expect(ask(port, "GET", "/", Authorization=right).status == 200, "the password does not let in")
        came = ask(port, "GET", "/", Authorization=right, Host="evil.example")
        tried.expect(came.status == 400, "another host")
        said = [ask(port, "GET", "/", Authorization=basic(f"guess {n}")).status for n in range(12)]
        shut = said[-1] == 429 and ask(port, "GET", "/", Authorization=right).status == 429
        tried.expect(shut, f"guesses: {said}")
        log = (server.home / "serve.log").read_bytes()
        tried.expect(PASSWORD.encode() not in log, "the password is in the log")
    return tried


def texts(work: Path, rounds: int) -> Tried:
    """Hostile texts in every field, in this process."""
    from app.web.context import open_context
    from tests.security.page_texts import write_everywhere

    os.environ["SWARDKEY_HOME"] = str(work / "texts")
    (work / "files").mkdir(parents=True)
    found = write_everywhere(open_context(), work / "files", rounds)
    shown = [] if found.seen > 10 * rounds else ["the texts are not on the pages"]
    return Tried(sum(found.fields.values()), found.wrong + shown)


def try_all(work: Path, rounds: int) -> dict[str, Tried]:
    """Every kind, against servers of their own."""
    home = work / "home"
    for name in ("canary.txt", "records/canary.txt", "models/canary.txt", "uploads/../canary.txt"):
        (home / name).parent.mkdir(parents=True, exist_ok=True)
        (home / name).write_bytes(CANARY)
    found: dict[str, Tried] = {"texts as text": texts(work, rounds)}
    with served(home) as server:
        plant = Visitor(server).send_files(PHOTO).press("look", month="11").plant
        found["loopback only"] = loopback_only(server)
        for kind, tries in KINDS.items():
            found[kind] = tries(server, plant)
        faults = [file.name for file in (home / "faults").glob("*")]
        log = (home / "serve.log").read_text(encoding="utf-8")
        found["log and faults"] = Tried(2, faults + (["a traceback in the log"] if "Traceback" in log else []))
    found["opened to the network"] = password(work)
    found["nothing leaves"] = nothing_leaves(work)
    return found


def main() -> None:
    """The table."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as name:
        found = try_all(Path(name), rounds)
    print(f"{'kind':26} {'tried':>7}  held")
    for kind, tried in found.items():
        wrong = tried.wrong
        print(f"{kind:26} {tried.count:7}  {'yes' if not wrong else f'NO, {len(wrong)}: {wrong[:4]}'}")
    print(f"{'all':26} {sum(tried.count for tried in found.values()):7}")
    raise SystemExit(any(tried.wrong for tried in found.values()))


if __name__ == "__main__":
    main()
