"""The real server in a process of its own, and a visitor who talks to it as the page in a browser does, without one."""

from __future__ import annotations

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
from tests.app.page_visitor import Shown

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_images"
PHOTO = SAMPLES / "taraxacum_officinale_flowering_3.jpg"
DANDELION: dict[str, Any] = read_mapping(SAMPLES / "dandelion_answers.yaml")
START = "import sys; from app.command_line import main; main()"
PRESS = "/gradio_api/component_server/"
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
    """Too many people were waiting: the page says so, and one tries again."""


class Visitor(Shown):
    """One tab of one person."""

    def __init__(self, server: Server, address: str = "/") -> None:
        super().__init__()
        self.server, self.session, self.address = server, secrets.token_hex(6), address.partition("?")[2]
        page = ask(server.port, "GET", address)
        found = re.search(r"window\.gradio_config = (\{.*?\});</script>", page.text, re.DOTALL)
        assert page.status == 200 and found is not None, f"no page of gradio: {page.status}"
        parts = json.loads(found[1])["components"]
        self.component = next(part["id"] for part in parts if part["type"] == "html")
        self.call("open_page", self.address)

    def press(self, do: str, which: str = "", **fields: str | Sequence[str]) -> Visitor:
        """Press a button, with what stands in its form."""
        given = {name: [value] if isinstance(value, str) else list(value) for name, value in fields.items()}
        return self.send(do=do, fields=given, **{"with": which})

    def send_files(self, *files: Path | tuple[str, bytes]) -> Visitor:
        """Choose files with the page's button."""
        sent = []
        for file in files:
            name, data = (file.name, file.read_bytes()) if isinstance(file, Path) else file
            kind, body = multipart([(f"{secrets.token_hex(16)}.bin", data)])
            came = ask(self.server.port, "POST", "/gradio_api/upload", body, Content_Type=kind, **self._from_here())
            assert came.status == 200, (came.status, came.text)
            sent.append({"path": json.loads(came.body)[0], "name": name})
        return self.send(do="add_photos" if self.plant else "add_files", files=sent)

    def send(self, **sent: Any) -> Visitor:
        """Send a message as the script of the page does."""
        return self.call("press", {"address": self.address, "plant": self.plant, **sent})

    def fetch(self, address: str) -> Answer:
        """A picture or a paper of the page."""
        return ask(self.server.port, "GET", address, Sec_Fetch_Site="same-origin")

    def _from_here(self) -> dict[str, str]:
        return {"Origin": f"http://{self.server.name}", "Sec_Fetch_Site": "same-origin"}

    def call(self, function: str, data: Any) -> Visitor:
        """Call a function of the page's server and show what comes of it."""
        body = {"component_id": self.component, "fn_name": function, "session_hash": self.session, "data": data}
        sent = json.dumps(body).encode()
        came = ask(self.server.port, "POST", PRESS, sent, Content_Type="application/json", **self._from_here())
        assert came.status == 200, (came.status, came.text)
        answer = json.loads(came.body)
        self.refused = answer.get("refused", "")
        if self.refused.startswith("Too many people"):
            raise FullError(self.refused)
        self.text = answer.get("page", self.text)
        return self
