"""What may be tried at the pages from outside, one function a kind."""

from __future__ import annotations

import http.client
import itertools
import json
import random
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote

from app.web.connections import MAX_PER_ADDRESS
from tests.security.visitor import PHOTO, PRESS, Answer, Server, Visitor, ask, multipart

CALL, UPLOAD = "/gradio_api/queue/join", "/gradio_api/upload"
CANARY = b"canary-of-the-user-4711"
TO_PAGES = ("/", "/flora", "/records", "/own", "/training", "/key")
# Ways to write "one folder up", for servers that undo one coding too many.
UP = (
    "../", "..%2f", "%2e%2e/", "%2e%2e%2f", ".%2e/", "%2E%2E%5C", "..%5c", "..\\", "%252e%252e%252f", "..%252f",
    "..%255c", "..%c0%af", "%c0%ae%c0%ae/", "..%ef%bc%8f", "..%e2%88%95", "....//", "..;/", "..%00/", "%u002e%u002e/",
    "..%09/", "..//", "/../", "./../", "..%0d%0a/", "%e0%80%ae%e0%80%ae/",
)  # fmt: skip
WHOLE = (
    "/etc/passwd", "//etc/passwd", "%2fetc%2fpasswd", "file:///etc/passwd", "/proc/self/environ", "~/.profile",
    "C:\\Windows\\win.ini", "C:/Windows/win.ini", "c%3a%5cwindows%5cwin.ini", "\\\\127.0.0.1\\c$\\win.ini",
    "//127.0.0.1/c$/win.ini", "\\\\?\\C:\\Windows\\win.ini", "CON", "NUL.jpg", "canary.txt::$DATA",
    "http://127.0.0.1:1/", "https://example.org/", "http:%2f%2f127.0.0.1%2f", "ftp://example.org/",
)  # fmt: skip
WANTED = ("etc/passwd", "canary.txt", "records/records.sqlite", "records%2frecords.sqlite")
FROM = (
    "/", "/photo/{plant}/", "/photo/", "/figure/", "/kept/", "/waiting/{plant}/", "/collected/", "/paper/",
    "/paper/all/",
    "/paper/{plant}/", "/paper/visit/1/", "/static/", "/assets/", "/svelte/", "/file=", "/gradio_api/file=",
    "/gradio_api/file/", "/gradio_api/proxy=", "/proxy=", "/gradio_api/stream/", "/gradio_api/custom_component/",
    "/flora/", "/key/", "/theme.css/",
)  # fmt: skip
# What gradio has behind its pages; none of it is used here.
UNUSED = (
    "user", "login_check", "token", "dev/reload", "runs", "openapi.json", "startup-events",
    "heartbeat/abc", "run-history/buckets", "run-history/records", "deep_link?session_hash=x",
    "custom_component/1/client/component/index.js", "proxy=http://a/",
    "file=x", "file/x", "stream/a/b/1/playlist.m3u8", "stream/a/b/1/playlist-file", "queue/status", "call/act/x",
    "call/v2/act/x", "upload_progress?upload_id=x", "vibe-code", "profiling/traces", "profiling/summary", "mcp",
    "mcp/sse", "monitoring", "monitoring/summary",
)  # fmt: skip
UNUSED_POSTS = (
    "run/identify", "api/identify", "call/identify", "call/v2/identify", "cancel", "reset", "process_recording",
    "vibe-edit", "undo-vibe-edit", "vibe-code", "stream/x", "stream/x/close", "run-history/connect", "profiling/clear",
)  # fmt: skip
UNUSED_HERE = (
    "/login", "/logout", "/monitoring", "/monitoring/summary", "/docs", "/redoc", "/openapi.json",
    "/gradio_api", "/svelte/x.js", "/mcp", "/pwa_icon/9", "/node_modules/x", "/.git/config", "/app/command_line.py",
)  # fmt: skip
OTHER_HOSTS = (
    "evil.example", "evil.example:{port}", "127.0.0.1.evil.example", "localhost.evil.example:{port}", "0.0.0.0:{port}",
    "127.1", "2130706433", "0x7f.1", "[::ffff:127.0.0.1]", "127.0.0.1@evil.example", "evil.example#127.0.0.1", "",
    "127.0.0.1:{port}.evil.example", "127.0.0.1:{port}, evil.example", "localhost:{port}:80", "192.168.1.5", " ",
)  # fmt: skip
ORIGINS = (
    "http://evil.example", "null", "http://127.0.0.1", "http://localhost:1", "https://evil.example:{port}", "",
    "http://127.0.0.1:{port}.evil.example", "http://evil.example@127.0.0.1:1", "file://", "chrome-extension://x",
)  # fmt: skip
ODD_NAMES = (
    "..", "../../x.jpg", "..\\..\\x.jpg", "/etc/x.jpg", "C:\\x.jpg", "CON.jpg", "a:b.jpg",
    "x" * 5000 + ".jpg", "", "\u202egpj.exe",
)  # fmt: skip


@dataclass
class Tried:
    """How often something was tried, and what did not hold."""

    count: int = 0
    wrong: list[str] = field(default_factory=list)

    def expect(self, held: bool, words: object) -> None:
        """Count one, and note it where it did not hold."""
        self.count += 1
        self.wrong += [] if held else [str(words)]


def leak(answer: Answer, words: str = "") -> str:
    """What an answer gives away; "" where it gives nothing."""
    for secret in (CANARY, b"SQLite format 3", b"root:x:0", b"[fonts]", b"SWARDKEY_HOME", b"Traceback"):
        if secret in answer.body:
            return f"{words} gave {secret!r}"
    return f"{words} gave status {answer.status}" if answer.status >= 500 and answer.status != 503 else ""


def raw(port: int, lines: str) -> bytes:
    """A request as it stands, and all that comes back."""
    with socket.create_connection(("127.0.0.1", port), timeout=10) as line:
        line.sendall(lines.encode("latin-1"))
        line.shutdown(socket.SHUT_WR)
        found = b""
        with suppress(OSError):
            while part := line.recv(65536):
                found += part
        return found


def post(server: Server, path: str, body: bytes, kind: str = "application/json", **headers: str) -> Answer:
    """A body sent by nobody's page."""
    return ask(server.port, "POST", path, body, Content_Type=kind, **headers)


def paths(server: Server, plant: str) -> Tried:
    """Files outside, by every way to write a path; only what is there under its plain name may be answered."""
    tried = Tried()
    asked = [start + up * depth + end for start, up, end in itertools.product(FROM, UP, WANTED) for depth in (1, 4)]
    asked += [start + whole for start, whole in itertools.product(FROM, WHOLE)]
    line = http.client.HTTPConnection("127.0.0.1", server.port, timeout=20)
    with closing(line):
        for path in asked:
            try:
                line.putrequest(
                    "GET", quote(path.format(plant=plant), safe="/%\\=:;?~$.@!*'(),&+"), skip_accept_encoding=True
                )
                line.endheaders()
                came = line.getresponse()
                answer = Answer(came.status, {}, came.read())
            except (http.client.HTTPException, OSError):
                line.close()  # refused at the line itself
                continue
            ours = path.startswith(("/static", "/assets", "/theme.css")) or b"<gradio-app" in answer.body
            tried.expect(not leak(answer) and (answer.status != 200 or ours), f"{path}: {answer.status} {leak(answer)}")
    return tried


def unused(server: Server, plant: str) -> Tried:
    """Everything of gradio that neither the pages nor the API use is not there."""
    tried = Tried()
    asked = [("GET", f"/gradio_api/{path}") for path in UNUSED] + [("GET", path) for path in UNUSED_HERE]
    asked += [("POST", f"/gradio_api/{path}") for path in UNUSED_POSTS]
    asked += [("POST", path) for path in (*UNUSED_HERE, "/config")]
    asked += [(method, "/") for method in ("PUT", "DELETE", "PATCH", "TRACE", "CONNECT", "PROPFIND")]
    for method, path in asked:
        came = ask(server.port, method, path, b"{}" if method == "POST" else None, Content_Type="application/json")
        tried.expect(came.status in (404, 405, 400) and not leak(came), f"{method} {path}: {came.status}")
    return tried


def hosts(server: Server, plant: str) -> Tried:
    """Names of other machines, so that no page elsewhere reaches in by a name that leads here."""
    tried = Tried()
    for host, path in itertools.product(OTHER_HOSTS, ("/", "/records", "/paper/all/findings.csv", "/theme.css")):
        came = ask(server.port, "GET", path, Host=host.format(port=server.port))
        tried.expect(came.status == 400 and b"gradio" not in came.body, f"Host {host}: {came.status}")
    twice = f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nHost: evil.example\r\nConnection: close\r\n\r\n"
    none = "GET / HTTP/1.1\r\nConnection: close\r\n\r\n"
    whole = f"GET http://evil.example/ HTTP/1.1\r\nHost: evil.example:{server.port}\r\nConnection: close\r\n\r\n"
    for request in (twice, none, whole):
        tried.expect(b" 400 " in raw(server.port, request)[:20], request.splitlines()[0])
    for header in ("X_Forwarded_Host", "X_Forwarded_Server", "X_Gradio_Server", "Forwarded", "X_Original_Host"):
        came = ask(server.port, "GET", "/", **{header: "evil.example"})
        tried.expect(b"evil.example" not in came.body, f"{header} was believed")
    return tried


def other_sites(server: Server, plant: str) -> Tried:
    """Pages elsewhere that send to this one, or take pictures and papers out of it."""
    tried = Tried()
    body = json.dumps({"data": "", "component_id": 1, "fn_name": "open_page", "session_hash": "abc123"}).encode()
    form_kind, form = multipart([("a.jpg", b"x")])
    strangers = [{"Origin": origin.format(port=server.port)} for origin in ORIGINS]
    strangers += [{"Sec_Fetch_Site": site} for site in ("cross-site", "same-site", "odd")]
    posts = ((PRESS, body, "application/json"), (UPLOAD, form, form_kind))
    for (path, sent, kind), stranger in itertools.product(posts, strangers):
        came = post(server, path, sent, kind, **stranger)
        allowed = came.headers.get("access-control-allow-origin")
        tried.expect(came.status == 403 and not allowed, f"POST {path} from {stranger}: {came.status} {allowed}")
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""):
        tried.expect(post(server, PRESS, body, kind).status == 415, f"a message as {kind} was taken")
    for path in (
        "/paper/all/findings.csv",
        "/paper/key",
        "/figure/leaf_build/grassy.svg",
        f"/photo/{plant}/a.jpg",
        "/",
    ):
        came = ask(server.port, "GET", path, Sec_Fetch_Site="cross-site", Sec_Fetch_Mode="no-cors")
        tried.expect(came.status == 403, f"{path} may be taken into another site")
    for stranger in strangers[: len(ORIGINS)]:
        came = ask(server.port, "OPTIONS", PRESS, **stranger, Access_Control_Request_Method="POST")
        allowed = came.headers.get("access-control-allow-origin", "")
        tried.expect("evil" not in allowed, f"{allowed} is allowed")
    return tried


def hostile_messages(tab: Visitor, count: int) -> Iterator[tuple[str, bytes]]:
    """Address and body of what neither a page nor a client of the API would send."""
    press = {"component_id": tab.component, "fn_name": "press", "session_hash": "a1b2c3", "data": {"do": "go"}}
    call: dict[str, Any] = {"data": [[], {}, None], "event_data": None, "fn_index": 0, "session_hash": "a1b2c3"}
    odd: list[Any] = [None, True, -1, 10**30, 1.5, "", "x", [], {}, [[]], "../../etc", "\ud800", {"a": {"b": []}}]
    files = [*WHOLE, "../records/records.sqlite", "\0", "", "x" * 70000, "/gradio_api/file=/etc/passwd", None, 1]
    for path in files:
        file = {"path": path, "name": path, "url": path, "is_stream": True, "meta": {"_type": "gradio.FileData"}}
        yield PRESS, json.dumps({**press, "data": {"do": "add_photos", "files": [file]}}).encode()
        yield CALL, json.dumps({**call, "data": [[file], {}, None]}).encode()
    for value in odd:
        yield PRESS, json.dumps({**press, "data": value}).encode()
        for name in ("address", "plant", "do", "with", "fields", "files"):
            yield PRESS, json.dumps({**press, "data": {**press["data"], name: value}}).encode()
        for address, body in ((PRESS, press), (CALL, call)):
            yield from ((address, json.dumps({**body, name: value}).encode()) for name in body)
            yield address, json.dumps(value).encode()
        yield from ((CALL, json.dumps({**call, "data": [*([[], {}, None][:at]), value]}).encode()) for at in range(3))
    for address in (PRESS, CALL):
        broken = (b"", b"{", b"[" * 100_000, b'{"a":' * 50_000, b"\xff\xfe\0", b"1" * 10_000, b"NaN")
        yield from (
            (address, body) for body in (*broken, b'{"data": [Infinity]}', b'{"data": "' + b"a" * 2_000_000 + b'"}')
        )
    chance = random.Random(8)
    for number in range(count):
        address, body = ((PRESS, press), (CALL, call))[number % 2]
        changed = bytearray(json.dumps(body).encode())
        for _ in range(chance.randint(1, 6)):
            changed[chance.randrange(len(changed))] = chance.randrange(256)
        yield address, bytes(changed)


def messages(server: Server, plant: str, count: int = 500) -> Tried:
    """Hostile JSON: each is answered in a sentence, or as the message that it still is."""
    tried = Tried()
    for address, body in hostile_messages(Visitor(server), count):
        came = post(server, address, body)
        taken = b'"path"' in body and came.status == 200 and b"did not arrive" not in came.body
        held = not leak(came) and b"A fault of the program" not in came.body and not taken
        tried.expect(held, f"{body[:150]!r}: {came.status} {came.text[:100]}")
    return tried


def buttons(server: Server, plant: str) -> Tried:
    """Buttons that are not on the page, with names and values that none of them sends."""
    tab, tried = Visitor(server), Tried()
    for do in ("go", "look", "keep", "sign_visit", "remove", "learn", "__class__", "act", "", "x" * 5000):
        for which in ("", "record", "../../x", "1 OR 1=1", "-1", "\0"):
            tab.press(do, which, month="13", site="999", fields=["a", "b"], choice="x", who="\0")
            tried.expect("A fault of the program" not in "".join(tab.faults), f"{do} {which}: {tab.faults}")
    return tried


def flood(server: Server, plant: str, count: int = 200) -> Tried:
    """More than may wait: some are asked to come again or cut off, and the next visitor is served."""
    tried, component = Tried(), Visitor(server).component
    body = json.dumps({"data": {"do": "go"}, "component_id": component, "fn_name": "press", "session_hash": "f100d"})

    answered = []

    def one() -> None:
        try:
            came = post(server, PRESS, body.encode())
        except ConnectionError:  # one of more than an address may have
            tried.expect(True, "cut off")
        else:
            answered.append(came.status)
            tried.expect(came.status == 200, f"{came.status} at once")

    threads = [threading.Thread(target=one) for _ in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    begun = time.monotonic()
    while time.monotonic() - begun < 60:
        with suppress(Exception):
            Visitor(server)
            break
    spent = time.monotonic() - begun
    tried.expect(len(answered) >= MAX_PER_ADDRESS // 2, f"only {len(answered)} of {count} were answered")
    tried.expect(spent <= 30, f"the next visitor waited {spent:.0f} s")
    return tried


def uploads(server: Server, plant: str) -> Tried:
    """Too large, of no known length, cut short, under odd names; the folder holds what it may."""
    folder, tried = server.home / "uploads", Tried()
    kind, large = multipart([("large.jpg", bytes(25_000_001))])
    cases: dict[str, tuple[int, Callable[[], Answer]]] = {
        "25 MB and a byte": (413, lambda: post(server, UPLOAD, large, kind)),
        "not a form": (415, lambda: post(server, UPLOAD, b"{}")),
        "cut short": (400, lambda: post(server, UPLOAD, large[:2000], kind)),
        "no length": (411, lambda: post(server, UPLOAD, b"", kind, Transfer_Encoding="chunked")),
        "a length of letters": (400, lambda: post(server, UPLOAD, b"", kind, Content_Length="1e3")),
        "below nothing": (400, lambda: post(server, UPLOAD, b"", kind, Content_Length="-1")),
    }
    for name, (status, do) in cases.items():
        with suppress(http.client.HTTPException, OSError):
            came = do()  # of half a form nothing is kept
            tried.expect(came.status in (status, 400) or came.body == b"[]", f"{name}: {came.status} {came.text[:80]}")
    head = f"POST {UPLOAD} HTTP/1.1\r\nHost: {server.name}\r\nContent-Type: {kind}\r\nContent-Length: "
    for length in (25_200_000, 10**12):
        said = raw(server.port, f"{head}{length}\r\n\r\n")[:40]
        tried.expect(b" 413 " in said[:20], f"{length} bytes: {said!r}")
    for name in ODD_NAMES:
        sort, body = multipart([(name.replace("\\", "\\\\"), b"x")])
        came = post(server, UPLOAD, body, sort)
        kept = Path(json.loads(came.body)[0]).resolve() if came.status == 200 and came.body != b"[]" else None
        inside = kept is None or (kept.parent.parent == folder.resolve() and kept.is_file())
        tried.expect(came.status < 500 and inside, f"{name[:30]!r}: {came.status} {kept}")
    hole = folder / "hole.jpg"
    with hole.open("wb") as out:
        out.truncate(2_000_000_000)  # takes no room on most disks, but counts
    came = post(server, UPLOAD, multipart([("a.jpg", b"x")])[1], kind)
    hole.unlink()
    tried.expect(came.status == 413, f"a full folder: {came.status}")
    return tried


def sessions(server: Server, plant: str, count: int = 2000) -> Tried:
    """A plant of another: not to be guessed, and seen nowhere but in its own tab."""
    one = Visitor(server).send_files(PHOTO).press("look", month="11").press("ask")
    photo = next(iter((server.home / "drafts" / one.plant).glob("????????????????.jpg"))).name
    other, chance, tried = Visitor(server), random.Random(5), Tried()
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
    near = {one.plant[:at] + letter + one.plant[at + 1 :] for at in range(22) for letter in chance.sample(letters, 30)}
    near |= {one.plant.swapcase(), one.plant[:-1], one.plant + "A", one.plant[::-1], "%", "_" * 22, "*", "' OR '1'='1"}
    for guess in sorted(near - {one.plant})[: count // 3]:
        for path in (f"/photo/{guess}/{photo}", f"/paper/{guess}/advice", f"/paper/{guess}/job"):
            came = ask(server.port, "GET", quote(path))
            tried.expect(came.status == 404, f"{path}: {came.status}")
    for page in (*TO_PAGES, f"/?plant={one.plant[::-1]}&step=questions"):
        text = Visitor(server, page).text
        tried.expect(one.plant not in text and photo not in text, f"{page} tells of the plant of another")
    other.press("go", "questions")
    hidden = one.plant not in other.text and ask(server.port, "GET", "/drafts/").status == 404
    tried.expect(hidden, "the plant of another was shown")
    own = ask(server.port, "GET", f"/photo/{one.plant}/{photo}")
    tried.expect(own.status == 200, "one's own photo is not shown")
    return tried


def headers(server: Server, plant: str) -> Tried:
    """The headers on every kind of answer."""
    asked = (
        *TO_PAGES, "/theme.css", "/static/img/logo.svg", "/figure/leaf_build/grassy.svg", "/paper/key", "/nothing",
        "/paper/all/findings.csv", "/gradio_api/queue/data?session_hash=none", "/gradio_api/info", "/manifest.json",
    )  # fmt: skip
    answers = {path: ask(server.port, "GET", path) for path in asked}
    answers["another host"] = ask(server.port, "GET", "/", Host="evil.example")
    answers["a bad message"] = post(server, PRESS, b"{")
    tried = Tried()
    for name, came in answers.items():
        policy = came.headers.get("content-security-policy", "")
        scripts = next((part for part in policy.split(";") if "script-src" in part), "")
        held = (
            "default-src 'none'" in policy and "frame-ancestors 'none'" in policy and "unsafe-inline" not in scripts,
            came.headers.get("x-content-type-options") == "nosniff",
            came.headers.get("referrer-policy") == "no-referrer",
            came.headers.get("cross-origin-resource-policy") == "same-origin",
            "*" not in policy and "http" not in policy,
        )
        tried.expect(all(held), f"{name}: {held}")
    return tried
