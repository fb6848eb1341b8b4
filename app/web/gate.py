"""Which requests are let in: by a name of this machine, from our own pages, to what these use, and of a bearable size.

What is not in the list of addresses is not there, whatever gradio has behind it.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from starlette.responses import PlainTextResponse, Response

from app.web.guard import STRANGE, Refusal, Scope
from app.web.network import Password, names_of_this_machine

READ = re.compile(
    r"/|/(flora|records|training|key)/?|/(theme\.css|favicon\.ico|robots\.txt|manifest\.json|pwa_icon)"
    r"|/(assets|static)/[\w./-]+|/gradio_api/(startup-events|app_id|queue/data|heartbeat/[a-z0-9]{1,40})"
    r"|/(photo|drawn|kept|waiting|collected|paper)/.+"
)
JOIN, UPLOAD = "/gradio_api/queue/join", "/gradio_api/upload"
STARTED = "/gradio_api/startup-events"  # asked by the server of itself
# A line that each tab would hold open for good, of which a browser has six for all tabs together.
BEATING = "/gradio_api/heartbeat/"
SESSION = re.compile(r"[a-z0-9]{1,40}")
LARGEST_FORM = 1_000_000  # bytes of what a button sends
LOOPBACK = {"127.0.0.1", "localhost", "[::1]"}
NOTHING_HERE = "There is nothing at this address."


class Gate:
    """Lets requests in or answers them itself. ``password`` is there where the network is let in.

    ``calls``: how many values each of the pages' calls takes, by its number.
    """

    def __init__(self, app: Any, uploads: Path, calls: Mapping[int, int], password: Password | None = None) -> None:
        self.app = app
        self.uploads = uploads.resolve()
        self.calls = calls
        self.password = password
        self.names = LOOPBACK | (names_of_this_machine() if password else set())

    async def __call__(self, scope: Scope, receive: Any, send: Any) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # the pages use no web sockets
            await send({"type": "websocket.close", "code": 1008})
            return
        try:
            headers = self._headers(scope)
            self._check_address(scope)
            self._check_origin(scope, headers)
            if self.password is not None and not (scope["path"] == STARTED and _is_near(scope)):
                await self._check_password(scope, headers)
            if scope["path"].startswith(BEATING):
                raise Refusal(204, "")
            if scope["path"] == JOIN:
                receive = await self._read_form(headers, receive)
        except Refusal as no:
            answer = PlainTextResponse(no.why, no.status, no.headers) if no.why else Response(status_code=no.status)
            await answer(scope, receive, send)
            return
        await self.app(scope, receive, send)

    def _headers(self, scope: Scope) -> dict[str, str]:
        """The headers, without those that would have gradio believe in another server before this one.

        Nothing is compressed either: on one machine that takes longer than it saves.
        """
        unread = (b"x-", b"forwarded", b"accept-encoding")
        scope["headers"] = [(k, v) for k, v in scope["headers"] if not k.startswith(unread)]
        raw = [(k.decode("latin-1"), v.decode("latin-1")) for k, v in scope["headers"]]
        hosts = [value.lower() for name, value in raw if name == "host"]
        name = re.sub(r":\d{1,5}$", "", hosts[0]) if len(hosts) == 1 else ""
        arrived = str((scope.get("server") or ("", 0))[0])
        if name not in self.names and not (self.password and name in (arrived, f"[{arrived}]")):
            raise Refusal(
                400, "That is not a name of this machine. Use the address that swardkey printed at its start."
            )
        return dict(raw)

    def _check_address(self, scope: Scope) -> None:
        method, path = scope["method"], scope["path"]
        known = path in (JOIN, UPLOAD) if method == "POST" else bool(READ.fullmatch(path))
        if method not in ("GET", "HEAD", "POST"):
            raise Refusal(405, NOTHING_HERE)
        if not known or "\\" in path or "\0" in path or ".." in path.split("/"):
            raise Refusal(404, NOTHING_HERE)

    def _check_origin(self, scope: Scope, headers: Mapping[str, str]) -> None:
        """Another site may lead to a page, but can neither send to it nor take anything out of it."""
        site, origin = headers.get("sec-fetch-site", "none"), headers.get("origin")
        opens = scope["method"] == "GET" and headers.get("sec-fetch-mode") == "navigate"
        if site not in ("none", "same-origin") and not opens:
            raise Refusal(403, STRANGE)
        if origin is not None and urlsplit(origin).netloc.lower() != headers["host"].lower():
            raise Refusal(403, STRANGE)

    async def _check_password(self, scope: Scope, headers: Mapping[str, str]) -> None:
        assert self.password is not None
        near = str((scope.get("client") or ("", 0))[0])
        if (wait := await self.password.check(headers.get("authorization", ""), near)) is None:
            return
        if wait:
            raise Refusal(429, f"Too many wrong passwords. Try again in {wait} minutes.")
        asked = {"www-authenticate": 'Basic realm="swardkey", charset="UTF-8"'}
        raise Refusal(401, "The password is needed; any user name will do.", **asked)

    async def _read_form(self, headers: Mapping[str, str], receive: Any) -> Any:
        """What a button sends, read whole and checked; then it is handed on as it was."""
        body, more = b"", True
        if not headers.get("content-type", "").startswith("application/json"):
            raise Refusal(415, STRANGE)
        while more:
            message = await receive()
            if message["type"] != "http.request":
                raise Refusal(400, STRANGE)
            body, more = body + message.get("body", b""), message.get("more_body", False)
            if len(body) > LARGEST_FORM:
                raise Refusal(413, "That is more than a form may hold; write less.")
        self._check_form(body)
        waiting = [{"type": "http.request", "body": body, "more_body": False}]

        async def again() -> Any:
            return waiting.pop() if waiting else await receive()

        return again

    def _check_form(self, body: bytes) -> None:
        try:
            told = json.loads(body)
            fine = (
                isinstance(told, dict)
                and type(told.get("fn_index")) is int
                and isinstance(told.get("session_hash"), str)
                and bool(SESSION.fullmatch(told["session_hash"]))
                and isinstance(told.get("data"), list)
                and len(told["data"]) == self.calls.get(told["fn_index"], -1)
                and isinstance(told.get("event_data"), dict | None)
                and all(map(self._is_fine, told["data"]))
            )
        except (ValueError, TypeError, RecursionError):
            fine = False
        if not fine:
            raise Refusal(400, STRANGE)

    def _is_fine(self, value: Any) -> bool:
        """Whether it is nothing, or files that were uploaded here; gradio would fetch one of the web."""
        files = value if isinstance(value, list) else [] if value is None else [value]
        return all(
            isinstance(file, dict)
            and isinstance(file.get("path"), str)
            and self._is_upload(file["path"])
            and file.get("meta") == {"_type": "gradio.FileData"}
            and not file.get("is_stream")
            for file in files
        )

    def _is_upload(self, path: str) -> bool:
        if "\0" in path or "://" in path or path.startswith("//"):
            return False
        found = Path(os.path.abspath(path))  # noqa: PTH100 - as it is written; what it links to is looked at too
        inside = found.is_relative_to(self.uploads) and Path(os.path.realpath(found)).is_relative_to(self.uploads)
        return inside and found.is_file()


def _is_near(scope: Scope) -> bool:
    return str((scope.get("client") or ("", 0))[0]) in ("127.0.0.1", "::1")
