"""What may be tried at the pages from outside. Each kind gives how often it was tried, and what did not hold."""

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
from pathlib import Path
from typing import Any
from urllib.parse import quote

from tests.security.visitor import PHOTO, PRESS, Answer, Server, Visitor, ask, multipart

CALL = "/gradio_api/queue/join"
CANARY = b"canary-of-the-user-4711"
HELD = tuple[int, list[str]]
TO_PAGES = ("/", "/flora", "/records", "/training", "/key")
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
    "/", "/photo/{plant}/", "/photo/", "/drawn/", "/kept/", "/waiting/{plant}/", "/collected/", "/paper/",
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


def may_be(answer: Answer, words: str = "") -> str:
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


def paths(server: Server, plant: str) -> HELD:
    """Files outside, by every way to write a path; only what is there under its plain name may be answered."""
    tried, wrong = 0, []
    asked = [start + up * depth + end for start, up, end in itertools.product(FROM, UP, WANTED) for depth in (1, 4)]
    asked += [start + whole for start, whole in itertools.product(FROM, WHOLE)]
    line = http.client.HTTPConnection("127.0.0.1", server.port, timeout=20)
    with closing(line):
        for path in asked:
            wire = quote(path.format(plant=plant), safe="/%\\=:;?~$.@!*'(),&+", encoding="utf-8")
            try:
                line.putrequest("GET", wire.replace("\\", "\\"), skip_accept_encoding=True)
                line.endheaders()
                came = line.getresponse()
                answer = Answer(came.status, {}, came.read())
            except (http.client.HTTPException, OSError):
                line.close()  # refused at the line itself
                continue
            finally:
                tried += 1
            page = answer.status == 200 and path.startswith(("/static", "/assets", "/theme.css")) is False
            told = may_be(answer, path) or (
                f"{path} was answered" if page and b"<gradio-app" not in answer.body else ""
            )
            if told:
                wrong.append(told)
    return tried, wrong


def unused(server: Server, plant: str) -> HELD:
    """Everything of gradio that the pages do not use is not there."""
    asked = [("GET", f"/gradio_api/{path}") for path in UNUSED] + [("GET", path) for path in UNUSED_HERE]
    asked += [("POST", f"/gradio_api/{path}") for path in UNUSED_POSTS]
    asked += [("POST", path) for path in (*UNUSED_HERE, "/config")]
    asked += [(method, "/") for method in ("PUT", "DELETE", "PATCH", "TRACE", "CONNECT", "PROPFIND")]
    wrong = []
    for method, path in asked:
        came = ask(server.port, method, path, b"{}" if method == "POST" else None, Content_Type="application/json")
        if came.status not in (404, 405, 400) or may_be(came):
            wrong.append(f"{method} {path}: {came.status}")
    return len(asked), wrong


def hosts(server: Server, plant: str) -> HELD:
    """Names of other machines, so that no page elsewhere reaches in by a name that leads here."""
    wrong, tried = [], 0
    for host, path in itertools.product(OTHER_HOSTS, ("/", "/records", "/paper/all/findings.csv", "/theme.css")):
        came = ask(server.port, "GET", path, Host=host.format(port=server.port))
        tried += 1
        if came.status != 400 or b"gradio" in came.body:
            wrong.append(f"Host {host}: {came.status}")
    twice = f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nHost: evil.example\r\nConnection: close\r\n\r\n"
    none = "GET / HTTP/1.1\r\nConnection: close\r\n\r\n"
    whole = f"GET http://evil.example/ HTTP/1.1\r\nHost: evil.example:{server.port}\r\nConnection: close\r\n\r\n"
    for request in (twice, none, whole):
        tried += 1
        if b" 400 " not in raw(server.port, request)[:20]:
            wrong.append(request.splitlines()[0])
    for header in ("X-Forwarded-Host", "X-Forwarded-Server", "X-Gradio-Server", "Forwarded", "X-Original-Host"):
        tried += 1
        if b"evil.example" in ask(server.port, "GET", "/", **{header.replace("-", "_"): "evil.example"}).body:
            wrong.append(f"{header} was believed")
    return tried, wrong


def other_sites(server: Server, plant: str) -> HELD:
    """Pages elsewhere that send to this one, or take pictures and papers out of it."""
    wrong, tried = [], 0
    body = json.dumps({"data": "", "component_id": 1, "fn_name": "open_page", "session_hash": "abc123"}).encode()
    kind, form = multipart([("a.jpg", b"x")])
    posts = ((PRESS, body, "application/json"), ("/gradio_api/upload", form, kind))
    for (path, sent, sort), origin in itertools.product(posts, ORIGINS):
        came = ask(server.port, "POST", path, sent, Content_Type=sort, Origin=origin.format(port=server.port))
        tried += 1
        if came.status != 403 or "access-control-allow-origin" in came.headers:
            wrong.append(f"POST {path} from {origin}: {came.status} {came.headers.get('access-control-allow-origin')}")
    for (path, sent, sort), site in itertools.product(posts, ("cross-site", "same-site", "odd")):
        tried += 1
        if ask(server.port, "POST", path, sent, Content_Type=sort, Sec_Fetch_Site=site).status != 403:
            wrong.append(f"POST {path} as {site}")
    for sort in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""):
        tried += 1
        if ask(server.port, "POST", PRESS, body, Content_Type=sort).status != 415:
            wrong.append(f"a form as {sort} was taken")
    for path in ("/paper/all/findings.csv", "/paper/key", "/drawn/soliva_sessilis.jpg", f"/photo/{plant}/a.jpg", "/"):
        tried += 1
        if ask(server.port, "GET", path, Sec_Fetch_Site="cross-site", Sec_Fetch_Mode="no-cors").status != 403:
            wrong.append(f"{path} may be taken into another site")
    for origin in ORIGINS:
        told = {"Origin": origin.format(port=server.port), "Access_Control_Request_Method": "POST"}
        came = ask(server.port, "OPTIONS", PRESS, **told)
        tried += 1
        allowed = came.headers.get("access-control-allow-origin")
        if allowed and "evil" in allowed:
            wrong.append(f"{allowed} is allowed")
    return tried, wrong


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


def messages(server: Server, plant: str, count: int = 500) -> HELD:
    """Hostile JSON: each is answered in a sentence, or as the message that it still is."""
    wrong, tried = [], 0
    for address, body in hostile_messages(Visitor(server), count):
        came = ask(server.port, "POST", address, body, Content_Type="application/json")
        tried += 1
        if told := may_be(came, repr(body[:120])):
            wrong.append(told)
        if b"A fault of the program" in came.body:
            wrong.append(f"a fault: {body[:200]!r}")
        if b'"path"' in body and came.status == 200 and b"did not arrive" not in came.body:
            wrong.append(f"taken: {body[:200]!r} {came.text[:100]}")
    return tried, wrong


def buttons(server: Server, plant: str) -> HELD:
    """Buttons that are not on the page, with names and values that none of them sends."""
    tab, wrong, tried = Visitor(server), [], 0
    for do in ("go", "look", "keep", "sign_visit", "remove", "learn", "__class__", "act", "", "x" * 5000):
        for which in ("", "record", "../../x", "1 OR 1=1", "-1", "\0"):
            tab.press(do, which, month="13", site="999", fields=["a", "b"], choice="x", who="\0")
            tried += 1
            if any("A fault of the program" in notice for notice in tab.notices):
                wrong.append(f"{do} {which}: {tab.notices}")
    return tried, wrong


def flood(server: Server, plant: str, count: int = 200) -> HELD:
    """More than may wait: some are asked to come again, and the next visitor is served."""
    said: list[int] = []
    component = Visitor(server).component
    body = json.dumps({"data": {"do": "go"}, "component_id": component, "fn_name": "press", "session_hash": "f100d"})

    def one() -> None:
        said.append(ask(server.port, "POST", PRESS, body.encode(), Content_Type="application/json").status)

    threads = [threading.Thread(target=one) for _ in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    wrong = [f"{status} at once" for status in set(said) - {200}]
    begun = time.monotonic()
    while time.monotonic() - begun < 60:
        with suppress(Exception):
            Visitor(server)
            break
    spent = time.monotonic() - begun
    return count, wrong + ([f"the next visitor waited {spent:.0f} s"] if spent > 30 else [])


def uploads(server: Server, plant: str) -> HELD:
    """Too large, too many, of no known length, cut short, under odd names; the folder holds what it may."""
    folder = server.home / "uploads"
    wrong, tried = [], 0

    def send(body: bytes, kind: str, **more: str) -> Answer:
        return ask(server.port, "POST", "/gradio_api/upload", body, Content_Type=kind, **more)

    kind, large = multipart([("large.jpg", bytes(25_000_001))])
    cases: list[tuple[str, Callable[[], Answer], int]] = [
        ("25 MB and a byte", lambda: send(large, kind), 413),
        ("not a form", lambda: send(b"{}", "application/json"), 415),
        ("cut short", lambda: send(large[:2000], kind), 400),
        ("no length", lambda: send(b"", kind, Transfer_Encoding="chunked"), 411),
        ("a length of letters", lambda: send(b"", kind, Content_Length="1e3"), 400),
        ("below nothing", lambda: send(b"", kind, Content_Length="-1"), 400),
    ]
    for name, do, status in cases:
        tried += 1
        with suppress(http.client.HTTPException, OSError):
            came = do()
            if came.status not in (status, 400) and came.body != b"[]":  # nothing is kept of half a form
                wrong.append(f"{name}: {came.status} {came.text[:80]}")
    head = f"POST /gradio_api/upload HTTP/1.1\r\nHost: {server.name}\r\nContent-Type: {kind}\r\nContent-Length: "
    for length in (25_200_000, 10**12):
        tried += 1
        if b" 413 " not in (said := raw(server.port, f"{head}{length}\r\n\r\n"))[:20]:
            wrong.append(f"{length} bytes: {said[:40]!r}")
    names = (
        "..",
        "../../x.jpg",
        "..\\..\\x.jpg",
        "/etc/x.jpg",
        "C:\\x.jpg",
        "CON.jpg",
        "a:b.jpg",
        "x" * 5000 + ".jpg",
        "",
        "\u202egpj.exe",
    )
    for name in names:
        tried += 1
        sort, body = multipart([(name.replace("\\", "\\\\"), b"x")])
        came = send(body, sort)
        kept = Path(json.loads(came.body)[0]).resolve() if came.status == 200 and came.body != b"[]" else None
        if came.status >= 500 or (kept is not None and (kept.parent.parent != folder.resolve() or not kept.is_file())):
            wrong.append(f"{name[:30]!r}: {came.status} {kept}")
    hole = folder / "hole.jpg"
    with hole.open("wb") as out:
        out.truncate(2_000_000_000)  # takes no room on most disks, but counts
    came = send(multipart([("a.jpg", b"x")])[1], kind)
    hole.unlink()
    tried += 1
    if came.status != 413:
        wrong.append(f"a full folder: {came.status}")
    return tried, wrong


def sessions(server: Server, plant: str, count: int = 2000) -> HELD:
    """A plant of another: not to be guessed, and seen nowhere but in its own tab."""
    one = Visitor(server).send_files(PHOTO).press("look", month="11").press("ask")
    photo = next(iter((server.home / "drafts" / one.plant).glob("????????????????.jpg"))).name
    other, chance, wrong, tried = Visitor(server), random.Random(5), [], 0
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
    near = {one.plant[:at] + letter + one.plant[at + 1 :] for at in range(22) for letter in chance.sample(letters, 30)}
    near |= {one.plant.swapcase(), one.plant[:-1], one.plant + "A", one.plant[::-1], "%", "_" * 22, "*", "' OR '1'='1"}
    for guess in sorted(near - {one.plant})[: count // 3]:
        for path in (f"/photo/{guess}/{photo}", f"/paper/{guess}/advice", f"/paper/{guess}/job"):
            tried += 1
            if (came := ask(server.port, "GET", quote(path))).status != 404:
                wrong.append(f"{path}: {came.status}")
    for page in (*TO_PAGES, f"/?plant={one.plant[::-1]}&step=questions"):
        tab = Visitor(server, page)
        tried += 1
        if one.plant in tab.text or photo in tab.text:
            wrong.append(f"{page} tells of the plant of another")
    other.press("go", "questions")
    if one.plant in other.text or ask(server.port, "GET", "/drafts/").status != 404:
        wrong.append("the plant of another was shown")
    if ask(server.port, "GET", f"/photo/{one.plant}/{photo}").status != 200:
        wrong.append("one's own photo is not shown")
    return tried + 2, wrong


def headers(server: Server, plant: str) -> HELD:
    """The headers on every kind of answer."""
    asked = (
        *TO_PAGES, "/theme.css", "/static/img/logo.svg", "/drawn/soliva_sessilis.jpg", "/paper/key", "/nothing",
        "/paper/all/findings.csv", "/gradio_api/queue/data?session_hash=none", "/gradio_api/info", "/manifest.json",
    )  # fmt: skip
    answers = [(path, ask(server.port, "GET", path)) for path in asked]
    answers += [("another host", ask(server.port, "GET", "/", Host="evil.example"))]
    answers += [("a bad message", ask(server.port, "POST", PRESS, b"{", Content_Type="application/json"))]
    wrong = []
    for name, came in answers:
        policy = came.headers.get("content-security-policy", "")
        scripts = next((part for part in policy.split(";") if "script-src" in part), "")
        held = (
            "default-src 'none'" in policy and "frame-ancestors 'none'" in policy and "unsafe-inline" not in scripts,
            came.headers.get("x-content-type-options") == "nosniff",
            came.headers.get("referrer-policy") == "no-referrer",
            came.headers.get("cross-origin-resource-policy") == "same-origin",
            "*" not in policy and "http" not in policy,
        )
        if not all(held):
            wrong.append(f"{name}: {held}")
    return len(answers), wrong
