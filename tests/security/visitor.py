"""The real server in a process of its own, and a visitor who talks to it as the page in a browser does, without one."""

from __future__ import annotations

import html
import http.client
import json
import os
import re
import secrets
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from model.flora.load import read_mapping

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_images"
PHOTO = SAMPLES / "taraxacum_officinale_flowering_3.jpg"
DANDELION: dict[str, Any] = read_mapping(SAMPLES / "dandelion_answers.yaml")
START = "import sys; from app.command_line import main; main()"
PATIENCE = 120.0  # seconds for one answer


@dataclass(frozen=True)
class Server:
    """A server that runs: its port, process and home."""

    port: int
    process: subprocess.Popen[bytes]
    home: Path

    @property
    def name(self) -> str:
        """Its name as the browser tells it."""
        return f"127.0.0.1:{self.port}"


@contextmanager
def served(home: Path, start: str = START, more: Sequence[str] = (), **environment: str) -> Iterator[Server]:
    """`swardkey serve` on a free port; ``start`` is the program that runs it. Waits for the first page."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    home.mkdir(parents=True, exist_ok=True)
    known = {**os.environ, "SWARDKEY_HOME": str(home), "PYTHONPATH": str(ROOT), **environment}
    command = [sys.executable, "-c", start, "serve", "--port", str(port), *more]
    with (home / "serve.log").open("wb") as log:
        process = subprocess.Popen(command, env=known, cwd=home, stdin=subprocess.DEVNULL, stdout=log, stderr=log)
    try:
        for _ in range(1200):
            if process.poll() is not None:
                break
            with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=5)) as line:
                try:
                    line.request("GET", "/theme.css")
                    line.getresponse().read()
                except OSError:
                    time.sleep(0.1)
                    continue
            yield Server(port, process, home)
            return
        raise AssertionError(f"nothing was served: {(home / 'serve.log').read_text(encoding='utf-8')[-2000:]}")
    finally:
        process.terminate()
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(20)


@dataclass(frozen=True)
class Answer:
    """What came back to one request."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def text(self) -> str:
        """The body as text."""
        return self.body.decode("utf-8", "replace")


def ask(port: int, method: str, path: str, body: bytes | None = None, **headers: str) -> Answer:
    """One request as it is written here, not tidied; header names have _ for -."""
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE)
    told = {"Host": f"127.0.0.1:{port}"} | {name.replace("_", "-"): value for name, value in headers.items()}
    with closing(line):
        line.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for name, value in told.items():
            line.putheader(name, value)
        if body is not None and "Content-Length" not in told and "Transfer-Encoding" not in told:
            line.putheader("Content-Length", str(len(body)))
        line.endheaders(body)
        came = line.getresponse()
        return Answer(came.status, {k.lower(): v for k, v in came.getheaders()}, came.read())


def multipart(files: Sequence[tuple[str, bytes]]) -> tuple[str, bytes]:
    """Files as a form sends them: the kind of the whole, and its bytes."""
    mark = secrets.token_hex(12)
    body = b""
    for name, data in files:
        head = f'--{mark}\r\nContent-Disposition: form-data; name="files"; filename="{name}"\r\n'
        body += head.encode() + b"Content-Type: image/jpeg\r\n\r\n" + data + b"\r\n"
    return f"multipart/form-data; boundary={mark}", body + f"--{mark}--\r\n".encode()


class FullError(Exception):
    """The line was full: the page says so, and one tries again."""


class Visitor:
    """One tab of one person."""

    def __init__(self, server: Server, address: str = "/") -> None:
        self.server = server
        self.session = secrets.token_hex(6)
        page = ask(server.port, "GET", address)
        assert page.status == 200, page.status
        found = re.search(r"window\.gradio_config = (\{.*?\});</script>", page.text, re.DOTALL)
        assert found is not None, "no page of gradio"
        self.config: dict[str, Any] = json.loads(found[1])
        kinds = {part["id"]: part["type"] for part in self.config["components"]}
        named = {part["props"].get("elem_id"): part["id"] for part in self.config["components"]}
        self.calls = {tuple(target): call for call in self.config["dependencies"] for target in call["targets"]}
        self.areas = [number for number, kind in kinds.items() if kind == "html"]
        self.camera = named.get("camera") or next((n for n, kind in kinds.items() if kind == "uploadbutton"), 0)
        self.waited: list[int] = []  # people before, as the page was told
        self.shown: list[str] = ["", ""]
        query = dict(part.split("=", 1) for part in address.partition("?")[2].split("&") if "=" in part)
        self.plant = ""
        self._call(next(call for (_, event), call in self.calls.items() if event == "load"), None, query)

    @property
    def text(self) -> str:
        """The whole page as HTML."""
        return "".join(self.shown)

    @property
    def title(self) -> str:
        """The heading."""
        found = re.search(r"<h1[^>]*>(.*?)</h1>", self.text, re.DOTALL)
        return html.unescape(found[1]).strip() if found else ""

    @property
    def notices(self) -> list[str]:
        """What went wrong, in words."""
        return [html.unescape(told) for told in re.findall(r'class="notice" role="\w+">([^<]*)', self.shown[0])]

    def press(self, do: str, which: str = "", **fields: str | Sequence[str]) -> Visitor:
        """Press a button, with what stands in its form."""
        told = {name: [value] if isinstance(value, str) else list(value) for name, value in fields.items()}
        self._call(self.calls[self.areas[0], "act"], {"do": do, "with": which, "fields": told})
        return self

    def send_files(self, *files: Path | tuple[str, bytes]) -> Visitor:
        """Choose files with the page's button."""
        sent = [(file.name, file.read_bytes()) if isinstance(file, Path) else file for file in files]
        kind, body = multipart(sent)
        came = ask(self.server.port, "POST", "/gradio_api/upload", body, Content_Type=kind, **self._from_here())
        assert came.status == 200, (came.status, came.text)
        chosen = [
            {"path": path, "orig_name": name, "size": len(data), "meta": {"_type": "gradio.FileData"}}
            for path, (name, data) in zip(json.loads(came.body), sent, strict=True)
        ]
        self._call(self.calls[self.camera, "upload"], None, files=chosen)
        return self

    def fetch(self, address: str) -> Answer:
        """A picture or a paper of the page."""
        return ask(self.server.port, "GET", address, Sec_Fetch_Site="same-origin")

    def _from_here(self) -> dict[str, str]:
        return {"Origin": f"http://{self.server.name}", "Sec_Fetch_Site": "same-origin"}

    def _call(self, call: Any, told: Any, query: Mapping[str, str] | None = None, files: Any = None) -> None:
        data = [files if part == self.camera else None for part in call["inputs"]]
        target = call["targets"][0][0]
        body = {"data": data, "event_data": told, "fn_index": call["id"], "trigger_id": target}
        body["session_hash"] = self.session
        path = "/gradio_api/queue/join" + (f"?{'&'.join(f'{k}={v}' for k, v in query.items())}" if query else "")
        sent = json.dumps(body).encode()
        came = ask(self.server.port, "POST", path, sent, Content_Type="application/json", **self._from_here())
        if came.status == 503:
            raise FullError(came.text)
        assert came.status == 200, (came.status, came.text)
        self._take(call, self._wait_for(json.loads(came.body)["event_id"]))

    def _wait_for(self, event: str) -> list[Any]:
        """What the server says once the event is done; how many were before is noted."""
        line = http.client.HTTPConnection("127.0.0.1", self.server.port, timeout=PATIENCE)
        with closing(line):
            line.request("GET", f"/gradio_api/queue/data?session_hash={self.session}")
            came = line.getresponse()
            while row := came.readline():
                if not row.startswith(b"data: "):
                    continue
                said = json.loads(row[6:])
                if said["msg"] == "estimation":
                    self.waited.append(said["rank"])
                if said["msg"] == "process_completed" and said["event_id"] == event:
                    assert said["success"], said["output"]
                    came.read()  # the server closes the line itself
                    return list(said["output"]["data"])
        raise AssertionError("the server went silent")

    def _take(self, call: Any, data: list[Any]) -> None:
        found = dict(zip(call["outputs"], data, strict=True))
        self.shown = [
            str(found[area]) if area in found else old for area, old in zip(self.areas, self.shown, strict=True)
        ]
        plant = re.search(r'data-plant="([\w-]{22})"', self.shown[0])
        self.plant = plant[1] if plant else ""
